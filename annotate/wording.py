"""The words that are written into a score, by language (`languages/*.toml`)."""

from collections.abc import Iterable

from annotate.decision import Decision, Status
from annotate.demand import Demand, Kind
from annotate.drawing import diagram
from annotate.language import Words, words
from fingering_db.fingering import Fingering
from fingering_db.motion import as_fingering, moves
from fingering_db.touches import Held, Touch

CENTS_ON_THE_STAND = 15
"""A deviation larger than this [cents] is worth a player's eye while playing; others stand in the report."""

_PARTS_OF_A_TONE = (("quarter_tone", 50.0, 5.0), ("sixth_tone", 100.0 / 3.0, 2.0), ("eighth_tone", 25.0, 2.0))
"""(name, cents, how near [cents] it must be)."""
_LEGEND_KEYS = {
    diagram.DOWN: "down",
    diagram.UP: "up",
    diagram.HOLE_OPEN: "hole_open",
    diagram.VENT_OPEN: "vent_open",
    diagram.BOTH_OPEN: "both_open",
}


def technique_notes(
    decision: Decision, language: str = "en", *, named: bool = False, brief: bool = False
) -> tuple[str, ...]:
    """What is written above the staff beside the diagram, top to bottom.

    The technique, marked if doubtful or unplayable, and deviations a player must know while playing. Empty
    for an ordinary note that simply plays. named: the score itself names the technique at this place, so that only
    the mark is written. brief: one row at most, the technique and its mark; that a note is a microtone its accidental says, and
    the words, wider than a column, would push the neighbouring one up.
    """
    lexicon = words(language)
    plain = brief and decision.demand.kind == Kind.MICROTONE
    trilled = _trilled(decision, lexicon)
    technique = "" if named or plain else _technique(decision, lexicon)
    technique = trilled if brief and trilled else technique
    if decision.status in (Status.DOUBTFUL, Status.UNPLAYABLE):
        key = f"note.{decision.status}" + ("" if technique else "_alone")
        technique = lexicon.text(key, note=technique)
    if brief or decision.status == Status.UNPLAYABLE:
        return (technique,) if technique else ()
    rows = (
        technique,
        trilled,
        *_glide_moves(decision, lexicon),
        _large_deviations(decision, lexicon),
        _contrary(decision, lexicon),
    )
    return tuple(text for text in rows if text)


def _contrary(decision: Decision, lexicon: Words) -> str:
    """Which fingers move against the ear."""
    if not decision.contrary:
        return ""
    return lexicon.text("note.contrary", touches=_touches(decision.contrary.left, decision.contrary.right))


def signed(held: Held) -> str:
    """A touch as it is drawn: `2o`, `E♭`, `Tv`."""
    return (held.touch.sign or held.touch.touch) + held.suffix


def is_trilled(decision: Decision) -> bool:
    """Whether the notes of a decision name the fingers that go to and fro."""
    return bool(_trilled(decision, words()))


def _trilled(decision: Decision, lexicon: Words) -> str:
    """The fingers that go to and fro, where both fingerings belong to one note: left hand, bar, right hand."""
    demand = decision.demand
    if not demand.is_to_and_fro or len({event.start for event in demand.events}) > 1 or not decision.path:
        return ""
    moved = as_fingering(moves(decision.path[0].fingering, decision.path[-1].fingering))
    return lexicon.text("note.trilled", touches=_touches(moved.left, moved.right)) if moved else ""


def _touches(*hands: Iterable[Held]) -> str:
    """Touches of the left hand, bar, those of the right one: one number alone is of either."""
    left, right = (" ".join(map(signed, hand)) for hand in hands)
    return f"{left} | {right}".strip()


def _technique(decision: Decision, lexicon: Words) -> str:
    demand = decision.demand
    if demand.kind == Kind.NOTE:
        return ""
    if demand.kind == Kind.MICROTONE:
        return lexicon.text(f"note.{_microtone(demand)}")
    if demand.kind != Kind.GLISSANDO:
        return lexicon.text(f"note.{demand.kind}")
    if demand.continuous is False:
        return lexicon.text("note.glissando_chromatic")
    return lexicon.text("note.glissando")


def _microtone(demand: Demand) -> str:
    """Which part of a whole tone it lies beside a tempered note: 'quarter_tone', 'sixth_tone', 'eighth_tone', else
    'microtone'."""
    odd = [abs(pitch.cents) for pitch in demand.pitches if pitch.cents]
    for name, cents, within in _PARTS_OF_A_TONE:
        if odd and all(abs(each - cents) <= within for each in odd):
            return name
    return "microtone"


def unseen_moves(decision: Decision, language: str) -> tuple[str, ...]:
    """What moves during a glissando that no diagram shows: the slide, the lip."""
    if not is_gliding(decision):
        return ()
    return tuple(words(language).text(key, **values) for key, values in _moves(decision) if "key" not in key)


def _glide_moves(decision: Decision, lexicon: Words) -> tuple[str, ...]:
    """What moves during a glissando, each with where it goes: the slide in mm, keys that roll or lift, the lip."""
    return tuple(lexicon.text(key, **values) for key, values in _moves(decision))


def is_gliding(decision: Decision) -> bool:
    """Whether the notes of a decision say what moves slowly."""
    return decision.status != Status.UNPLAYABLE and bool(_moves(decision))


def _moves(decision: Decision) -> list[tuple[str, dict[str, str]]]:
    """(key of the words, their values) for everything that moves on the way."""
    if not decision.path or decision.demand.is_to_and_fro:
        return []
    first, last = decision.path[0], decision.path[-1]
    moves: list[tuple[str, dict[str, str]]] = []
    if round(first.slide_mm) != round(last.slide_mm):
        moves.append(("note.slide", {"start": f"{first.slide_mm:.0f}", "end": f"{last.slide_mm:.0f}"}))
    moves += [
        (f"note.key_{way}", {"touch": signed(Held(touch))})
        for touch, way in _moving_keys(first.fingering, last.fingering)
    ]
    if round(first.lip_cents) != round(last.lip_cents):
        moves.append(("note.lip_up" if last.lip_cents > first.lip_cents else "note.lip_down", {}))
    return moves


def _moving_keys(first: Fingering, last: Fingering) -> list[tuple[Touch, str]]:
    """(touch, 'up', 'down', 'open' or 'shut') for each key that two fingerings hold differently, in playing order."""
    found = []
    for before, after in ((first.left, last.left), (first.right, last.right)):
        held = {one.touch: one.suffix for one in before}
        then = {one.touch: one.suffix for one in after}
        for touch in dict.fromkeys((*held, *then)):
            if touch not in then:
                found.append((touch, "up"))
            elif touch not in held:
                found.append((touch, "down"))
            elif held[touch] != then[touch]:
                found.append((touch, "open" if len(then[touch]) > len(held[touch]) else "shut"))
    return found


def _large_deviations(decision: Decision, lexicon: Words) -> str:
    pitches = decision.demand.pitches + decision.demand.to
    texts = []
    for pitch, deviation in zip(pitches, decision.deviation_cents, strict=False):
        if abs(round(deviation)) > CENTS_ON_THE_STAND:
            alone = len(pitches) == 1
            name = lexicon.note_name(pitch, "signs")
            # The note as asked may itself lie beside the tempered one.
            asked = f"{name}({pitch.cents:+.0f})" if round(pitch.cents) else name
            key = "note.deviation_alone" if alone else "note.deviation"
            texts.append(lexicon.text(key, pitch=asked, cents=f"{deviation:+.0f}"))
    if not texts or len(pitches) == 1:
        return "".join(texts)
    return lexicon.text("note.deviations", list=", ".join(texts))


def number_row(number: int, language: str = "en") -> str:
    """The row that tells a fingering's number: '[3]', which is no rehearsal mark and no bar number."""
    return words(language).text("note.number", n=number)


def legend(
    fingerings: Iterable[Fingering],
    language: str = "en",
    plain: bool = False,
    statuses: Iterable[str] = (),
    *,
    numbered: bool = False,
    drawn: bool = True,
    trilled: bool = False,
    gliding: bool = False,
    contrary: Iterable[Fingering] = (),
    column: bool = False,
) -> tuple[str, ...]:
    """The entries of a part's line at its first diagram, explaining only the signs these fingerings and statuses use;
    none without a fingering. plain: circles stand as plain signs.
    numbered: some fingerings carry numbers and stand in a list. drawn: some stand at their places.
    trilled: some notes name the fingers of a trill.
    gliding: some notes say what moves where.
    contrary: the notes of moves against the ear. column: the diagrams are columns."""
    shown = tuple(fingerings)
    if not shown:
        return ()
    lexicon, against = words(language), tuple(contrary)
    suffixes = "".join(held.suffix for one in against for held in one.held)
    parts = [
        lexicon.text(f"legend.{_LEGEND_KEYS[sign]}", sign=diagram.PLAIN_SIGNS[sign] if plain else sign)
        for sign in diagram.signs_used(shown)
    ]
    if diagram.vented_letters(shown) or "v" in suffixes:
        parts.append(lexicon.text("legend.letter_vent"))
    parts += [lexicon.text("legend.letter_hole")] if "o" in suffixes else []
    parts += [lexicon.text(f"legend.{'column' if column else 'hands'}")] if drawn or not numbered else []
    parts += [lexicon.text("legend.flat")] if column and drawn and diagram.flat_thumb(shown) else []
    parts += [lexicon.text("legend.trill")] if (column or numbered) and diagram.trill_keys(shown) else []
    parts += [lexicon.text("legend.line")] if numbered else []
    parts += [lexicon.text("legend.number")] if numbered else []
    parts += [lexicon.text("legend.to_and_fro")] if trilled else []
    parts += [lexicon.text("legend.gliding")] if gliding else []
    # A column has no room for the sign, and a numbered diagram serves many ways to it.
    sign = "" if column or not drawn else f"{diagram.CONTRARY} "
    parts += [sign + lexicon.text("legend.contrary")] if against else []
    parts += [
        lexicon.text(f"legend.{status}") for status in (Status.DOUBTFUL, Status.UNPLAYABLE) if status in set(statuses)
    ]
    return tuple(parts)


def key_names(keys: Iterable[Touch], language: str = "en") -> str:
    """What keys drawn as letters are: `T thumb; E♭ C♯ right little finger`."""
    lexicon, letters = words(language), dict[str, list[str]]()
    for touch in keys:
        letters.setdefault(lexicon.text(f"keys.{touch.words or touch.touch}"), []).append(touch.sign)
    told = tuple(lexicon.text("signs.key", letters=" ".join(own), name=name) for name, own in letters.items())
    return lexicon.value(told, "semicolon")
