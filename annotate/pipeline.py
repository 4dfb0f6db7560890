"""All stages on one screen: bytes -> score -> demands -> decisions -> report, and marks back into the bytes."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

from annotate.choosing.choose import ordinary_demands
from annotate.choosing.decide import decide
from annotate.choosing.desk import Desk
from annotate.choosing.desks import DEFAULT_FLUTE, desks_for, flute_named
from annotate.choosing.judged_on import DesksAt, desks_at, flute_remarks, on_our_flutes, transpositions
from annotate.choosing.passage import Planned, plan_cost, planned_notes
from annotate.decision import Decision, Result
from annotate.decisions import kept as kept_decisions
from annotate.decisions.kept import NOTHING, Kept
from annotate.decisions.rulings import rulings
from annotate.demand import Demand, NotJudged, Undecided
from annotate.detecting.company import Companies
from annotate.detecting.detect import Detected, addressed, detect
from annotate.files import container
from annotate.files.placing import Ready, prepared, standing, standing_of, uninterrupted
from annotate.files.stripping import rows_kept
from annotate.findings import Finding, InputError
from annotate.forms import Form, form_of, is_native
from annotate.marking import ALL, DEFAULT, Marked, Style, changed_rows, mark_parts, notes_at, numbers_of, words_by_place
from annotate.reading.changes import turns
from annotate.reading.flute_parts import choose_part, find_flute_parts
from annotate.reading.read import read_headings, read_score
from annotate.score import Part, Score
from fingering_db.instrument import shipped
from fingering_db.message import Message
from fingering_db.survey import Progress

OnWritten = Callable[[Ready], None]
AUTO = "auto"  # chords are read as the score tells
# The flute that a part's sound id or name tells, where one of that name is shipped.
_LISTED_PARTS = 12
FLUTE_OF_FAMILY = {"flute": DEFAULT_FLUTE, "piccolo": "piccolo", "alto": "alto", "bass": "bass"}


@dataclass(frozen=True, slots=True)
class Options:
    """What the user asked for. flutes: names or files, first one decides; part_flutes: (part selector, flute) pairs;
    parts: selectors, empty for every flute part; language: of what is written
    into the score; musescore: the program to ask about its files, '' for the one that is installed; decisions: the file of
    decisions, None for the one beside the score, if there is one."""

    flutes: tuple[str, ...] = ()
    part_flutes: tuple[tuple[str, str], ...] = ()
    a4_hz: float | None = None
    parts: tuple[str, ...] = ()
    chords: str = AUTO
    tolerance_cents: float | None = None
    language: str = "en"
    musescore: str = ""
    decisions: Path | None = None


@dataclass(frozen=True, slots=True)
class Looked:
    """A score that was looked at. data: MusicXML bytes of its meaning, without earlier marks of ours. desks: the flutes that
    decisions were made on, by the names that decisions call them; plans: of each part, voice by voice, on its first flute."""

    form: Form
    file: container.ScoreFile
    data: bytes
    score: Score
    parts: tuple[Part, ...]
    result: Result
    language: str = "en"
    desks: Mapping[str, Desk] = field(default_factory=dict)
    plans: tuple[Planned, ...] = ()


def look(path: Path, options: Options, progress: Progress | None = None) -> Looked:
    """Read a score and decide every demand. Raises InputError when it cannot be looked at."""
    return look_at(container.load(path), options, progress)


def look_at(file: container.ScoreFile, options: Options, progress: Progress | None = None) -> Looked:
    form = form_of(file, program=options.musescore)
    kept = _kept(file.path, options)
    read = _read(file, form, kept, options)
    score, headings, options, parts, families = read.score, read.headings, read.options, read.parts, read.families
    findings = list(read.findings)
    ruled = rulings(kept, parts)
    findings += (*ruled.findings, *_misnamed(file.path, options))
    decisions: list[Decision] = []
    not_judged: list[NotJudged] = []
    undecided: list[Undecided] = []
    plans: list[tuple[Part, tuple[Planned, ...]]] = []
    known: dict[str, Desk] = {}
    read_as: list[Message | str] = []
    a4_hz = 440.0
    count = 0
    companies = Companies(score)
    for part in parts:
        played = turns(part, families[part.id])
        named = _named_for(headings, part, families, options)
        desks = {family: _desks(family, named, options) for family in played.families(part)}
        findings += [_no_flute(part, family) for family in desks if family and not desks[family]]
        if not any(desks.values()):
            continue
        known |= {desk.name: desk for own in desks.values() for desk in own}
        read_as.append(_read_as(part, families[part.id], stays=bool(options.flutes) and not named))
        a4_hz = next(desk.a4_hz for own in desks.values() for desk in own)
        at = partial(desks_at, played, desks)
        chords = options.chords if options.chords != AUTO else ruled.piece or AUTO
        detected = addressed(
            part,
            on_our_flutes(detect(part, chords, companies.of(part), ruled.readings(part)), at).renumbered(count + 1),
        )
        demands = _with_ordinary(part, detected, at, count)
        count += len(demands)
        decided = decide(part, demands, at, progress, ruled)
        findings += flute_remarks(part, decided.decisions, desks)
        findings += (*played.findings, *_transpositions(part, at, options), *detected.findings)
        not_judged += detected.not_judged
        undecided += detected.undecided
        texts = words_by_place(part)
        decisions += [replace(one, notes=notes_at(one, texts, options.language)) for one in decided.decisions]
        findings += decided.findings
        plans.append((part, decided.plans))
    result = Result(
        score=str(file.path),
        flutes=tuple(known),
        decisions=tuple(decisions),
        findings=tuple(findings),
        not_judged=tuple(not_judged),
        undecided=tuple(undecided),
        parts_read=tuple(read_as),
        a4_hz=a4_hz,
        decisions_file=kept.path,
        plan=tuple(note for part, own in plans for note in planned_notes(part, own)),
        plan_costs=tuple(cost for part, own in plans if (cost := plan_cost(part, own))),
    )
    result = replace(result, numbers=numbers_of(_by_part(parts, result), result.unusual_notes()))
    every = tuple(one for _, own in plans for one in own)
    return Looked(form, file, read.data, score, parts, result, options.language, known, every)


@dataclass(frozen=True, slots=True)
class _Read:
    """A score that was read for the parts to be judged. options: with the flutes that a decisions file gives; families: by the
    ids of these parts."""

    data: bytes
    headings: Score
    options: Options
    score: Score
    parts: tuple[Part, ...]
    families: Mapping[str, str]
    findings: tuple[Finding, ...]


def _read(file: container.ScoreFile, form: Form, kept: Kept, options: Options) -> _Read:
    with _about(file.path):
        data = form.meaning()
        headings = read_headings(data)
        options = _with_flutes(options, kept, headings)
        chosen = _chosen_parts(headings, options)
        # Flutes that were not asked for tell who plays the chords of the others.
        flutes = {part.id for part, _ in find_flute_parts(headings.parts)}
        score = read_score(data, flutes | {part.id for part, _ in chosen})
    families = {part.id: family for part, family in chosen}
    parts = tuple(part for part in score.parts if part.id in families)
    # Of the flutes that only give evidence nothing is told.
    aside = flutes - {part.id for part in parts}
    findings = [finding for finding in score.findings if finding.place is None or finding.place.part_id not in aside]
    findings += [one for part in parts for one in changed_rows(part)]
    return _Read(data, headings, options, score, parts, families, tuple(findings))


def annotate(
    looked: Looked,
    target: Path,
    *,
    in_place: bool,
    style: Style = DEFAULT,
    picture_folder: Path | None = None,
    before: str | None = None,
    on_written: OnWritten | None = None,
) -> Result:
    """Write the score with its marks to `target`, and pictures of its diagrams to a folder if one is named, all or
    nothing; returns the result with findings about places.

    before: as `standing_before` told of `target` when the work began; anything else there now is not overwritten.
    on_written: told before anything can interrupt."""
    container.check_target(looked.file.path, target, in_place)
    marked = marks_of(looked, style)
    marks = [one for part in marked for one in part.marks]
    with _about(looked.file.path):
        new_data = looked.form.marked(looked.data, looked.parts, marks, style.carrier)
    pictures: tuple[Path, Mapping[str, bytes]] | None = None
    if picture_folder is not None:
        from annotate.drawing import picture_files  # noqa: PLC0415 - for those alone who want pictures

        drawn = [one for part in marked for one in part.drawn]
        pictures = picture_folder, picture_files.files(drawn, looked.parts, looked.result.first_flute())
    ready = _before(looked.file, before, in_place)
    _write(looked.form, looked.file, new_data, target, ready, pictures, on_written)
    findings = tuple(finding for part in marked for finding in part.findings)
    return replace(looked.result, findings=looked.result.findings + findings, marked=len(marks))


def marks_of(looked: Looked, style: Style = DEFAULT) -> list[Marked]:
    """What is to be written at which note, part by part, at bytes of `looked.data`."""
    plan = looked.result.plan if style.mark == ALL else looked.result.unusual_notes()
    return mark_parts(_by_part(looked.parts, looked.result), replace(style, language=looked.language), plan)


def _by_part(parts: tuple[Part, ...], result: Result) -> list[tuple[Part, list[Decision]]]:
    """Each part with its decisions on the first flute."""
    own: dict[str, list[Decision]] = {part.id: [] for part in parts}
    for decision in result.first_flute():
        own[decision.demand.place.part_id].append(decision)
    return [(part, own[part.id]) for part in parts]


def strip_file(
    path: Path, target: Path, *, in_place: bool, on_written: OnWritten | None = None
) -> tuple[bool, tuple[str, ...]]:
    """Write the score without our marks to `target`, all or nothing; returns whether there were any, and the texts between our
    signs that were kept, because they do not read as ours. on_written: as in `annotate`."""
    before = standing_before(path, target, in_place)
    file = container.load(path)
    form = form_of(file, read=False)
    with _about(path):
        data = form.stripped()
        kept = () if is_native(path) else rows_kept(file.data)
    _write(form, file, data, target, _before(file, before, in_place), None, on_written)
    return data != file.data, kept


def standing_before(path: Path, target: Path, in_place: bool) -> str:
    """What stands at `target` now, for a later comparison. Raises InputError unless it may be written for the score."""
    container.check_target(path, target, in_place)
    return "" if in_place else standing(target)


def _before(file: container.ScoreFile, before: str | None, in_place: bool) -> str | None:
    """What must still stand at the target: a score written in place must be the one that was read."""
    return standing_of(file.raw) if in_place else before


@contextmanager
def _about(path: Path) -> Iterator[None]:
    """Errors about the bytes of a score are told with the name of its file."""
    try:
        yield
    except InputError as error:
        raise InputError(Message("file.about", path=str(path), what=error.messages[0])) from error


def _write(
    form: Form,
    file: container.ScoreFile,
    new_data: bytes,
    target: Path,
    before: str | None,
    pictures: tuple[Path, Mapping[str, bytes]] | None,
    on_written: OnWritten | None,
) -> None:
    form.verify(new_data)

    def verify(content: bytes) -> None:
        form.verify(container.check_packed(file, content).data)

    with ExitStack() as held:
        ready = held.enter_context(prepared(target, container.pack(file, new_data), verify, before))
        if pictures is not None:
            from annotate.drawing.picture_folder import placed  # noqa: PLC0415 - the same

            held.enter_context(placed(*pictures))
        with uninterrupted():
            ready.place()
            if on_written:
                on_written(ready)
            held.close()  # nothing is taken back any more


def _kept(score: Path, options: Options) -> Kept:
    """The decisions asked for, else those beside the score."""
    if options.decisions is not None:
        return kept_decisions.load(options.decisions)
    found = kept_decisions.beside(score)
    return kept_decisions.load(found) if found.is_file() else NOTHING


def _misnamed(score: Path, options: Options) -> list[Finding]:
    """That decisions lie beside the score in a file that is not read for its name."""
    found = kept_decisions.misnamed(score)
    if options.decisions is not None or not found.is_file():
        return []
    return [Finding.of("R305", None, path=str(found), name=kept_decisions.beside(score).name)]


def _with_flutes(options: Options, kept: Kept, headings: Score) -> Options:
    """The same with the flutes decided on for parts that the user did not name."""
    named = {choose_part(headings.parts, selector).id for selector, _ in options.part_flutes}
    parts = [(part.id, {part.label, part.id, str(part.number)}) for part in headings.parts]
    own = tuple((id, flute) for name, flute in kept.flutes for id, names in parts if name in names and id not in named)
    return replace(options, part_flutes=options.part_flutes + own)


def _chosen_parts(headings: Score, options: Options) -> tuple[tuple[Part, str], ...]:
    """(part, family) in file order; those named by the user, else every flute part."""
    if not headings.parts:
        raise InputError(Message("score.no_parts"))
    flutes = find_flute_parts(headings.parts)
    if not options.parts:
        if not flutes:
            named = headings.parts[:_LISTED_PARTS]
            listed = tuple(Message("score.listed_name", number=part.number, name=part.title) for part in named)
            more = len(headings.parts) - len(named)
            if more:
                listed += (Message("score.more_parts", n=more),)
            raise InputError(Message("score.no_flute_part", listed=listed))
        return flutes
    families = {part.id: family for part, family in flutes}
    asked = {choose_part(headings.parts, selector).id for selector in options.parts}
    return tuple((part, families.get(part.id, "flute")) for part in headings.parts if part.id in asked)


def _named_for(headings: Score, part: Part, families: Mapping[str, str], options: Options) -> list[str]:
    """The flutes that the user named for a part: those named with it, else those of its family and those of which no part is.
    families: of the parts that are judged, by id."""
    own = [flute for selector, flute in options.part_flutes if choose_part(headings.parts, selector).id == part.id]
    others = set(families.values()) - {families[part.id]}
    told = [(family, usual) for family, usual in _shipped_families() if others and options.flutes]
    kinds = {flute_named(usual).transposition_semitones: family for family, usual in told}
    return own or [
        name for name in options.flutes if kinds.get(flute_named(name).transposition_semitones) not in others
    ]


def _read_as(part: Part, family: str, *, stays: bool) -> Message | str:
    """How a part is told. stays: on the flute of its family, though the user named others."""
    return Message("report.part_on", part=part.title, flute=FLUTE_OF_FAMILY[family]) if stays else part.title


def _shipped_families() -> list[tuple[str, str]]:
    return [(family, flute) for family, flute in FLUTE_OF_FAMILY.items() if flute in shipped()]


def _desks(family: str, named: list[str], options: Options) -> list[Desk]:
    """A desk for each flute that a part is judged on where it is for that family; none when there is no model."""
    if not family:
        return []
    usual = [flute for own, flute in _shipped_families() if own == family]
    return desks_for(named or usual, options.a4_hz, options.tolerance_cents)


def _no_flute(part: Part, family: str) -> Finding:
    return Finding.of("P6", part.whole, family=Message(f"family.{family}"))


def _transpositions(part: Part, at: DesksAt, options: Options) -> tuple[Finding, ...]:
    """None where the user named the flute: then the file may well mean another."""
    return () if options.flutes or options.part_flutes else transpositions(part, at)


def _with_ordinary(part: Part, detected: Detected, at: DesksAt, count: int) -> tuple[Demand, ...]:
    """The part's demands and those of notes outside the flute, in time order; ids of the former stay. A chord that nobody can
    tell how to read asks nothing."""
    demands = detected.demands
    taken = [event for demand in demands for event in demand.events]
    taken += [event for one in detected.undecided for event in one.events]
    extra = ordinary_demands(part, taken, at)
    named = tuple(replace(demand, id=f"d{count + len(demands) + n}") for n, demand in enumerate(extra, start=1))
    return tuple(sorted((*demands, *named), key=lambda demand: (demand.events[0].onset, demand.events[0].start)))
