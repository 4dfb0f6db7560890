"""Large scores of one kind take work in proportion to their size: how often each line of our code runs is counted, not
seconds.

Each kind is something of which a hostile or broken file may hold very many. All invented.
"""

import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any

import pytest
from check import invented_search

from annotate.findings import InputError
from annotate.pipeline import Options, annotate, look, strip_file
from annotate.report import json_report, text

OURS = tuple(str(Path(__file__).parents[2] / package) for package in ("annotate", "fingering_db"))
SMALL = 8  # of a kind; then twice and four times as many


def note(step: str, octave: int = 5, inner: str = "", first: str = "") -> str:
    pitch = f"<pitch><step>{step}</step>{'{}'}<octave>{octave}</octave></pitch>".format("")
    length = "" if "<grace/>" in first else "<duration>4</duration>"
    return f"<note>{first}{pitch}{length}<voice>1</voice>{inner}</note>"


def lines(*kinds: str) -> str:
    made = [f'<{kind.split()[0]} type="{kind.split()[1]}"/>' for kind in kinds]
    return f"<notations>{''.join(made)}</notations>"


def words(told: str) -> str:
    return f"<direction><direction-type><words>{told}</words></direction-type></direction>"


C5, D6 = note("C"), note("D", 6)
CHORD = C5 + note("D", 6, first="<chord/>")
TIED, SLID = lines("tied stop", "tied start"), lines("slide stop", "slide start")
LASTING = C5.replace("<duration>4", "<duration>9999")
BACK = "<backup><duration>9998</duration></backup>"
TWO_STAVES = "<attributes><staves>2</staves></attributes>"
ON_2 = words("multiphonic").replace("</direction>", "<staff>2</staff></direction>")

BARS: dict[str, Callable[[int], str]] = {
    "notes in a bar": lambda n: C5 * n,
    "bars": lambda n: f'</measure><measure number="x">{C5}'.join([words("multiphonic") + CHORD] * n),
    "multiphonics in a bar": lambda n: (words("multiphonic") + CHORD) * n,
    "large chords": lambda n: (C5 + note("D", 6, first="<chord/>") * 9) * n,
    "notes outside the compass": lambda n: note("C", 9) * n,
    "notes that overlap": lambda n: (LASTING + BACK) * n,
    "voices that overlap": lambda n: "".join(LASTING.replace("<voice>1", f"<voice>{k}") + BACK for k in range(n)),
    "tied notes": lambda n: note("C", inner=TIED) * n,
    "tied chords": lambda n: (note("C", inner=TIED) + note("D", 6, TIED, "<chord/>")) * n,
    "tied microtones": lambda n: note("C", inner=TIED).replace("<octave>", "<alter>0.5</alter><octave>") * n,
    "slides without an end": lambda n: note("C", inner=lines("slide start")) * n,
    "slides from note to note": lambda n: (note("C", inner=SLID) + note("D", 6, SLID)) * n,
    "slides over tied notes": lambda n: note("C", inner=TIED + SLID) * n,
    "glissando words": lambda n: (words("gliss.") + note("C", inner=SLID) + note("D", 6, SLID)) * n,
    "words at one place": lambda n: words("multiphonic") * n + CHORD,
    "words at one place before many chords": lambda n: words("multiphonic") * n + CHORD * n,
    "numbers of players at one place": lambda n: (words("1.") + words("2.")) * n + CHORD * n,
    "single letters": lambda n: words("M") * n + C5 * n,
    "double bars": lambda n: (
        words("multiphonic") + CHORD + '<barline location="middle"><bar-style>heavy</bar-style></barline>'
    ) * n,
    "changes of flute": lambda n: (words("Piccolo") + C5 + words("Flute") + C5) * n,
    "changes of flute announced": lambda n: (words("muta in Ottavino") + C5 + words("muta in Flauto") + C5) * n,
    "words of the other staff": lambda n: TWO_STAVES + ON_2 + C5 * n + note("C", inner="<staff>2</staff>") * n,
    "divisions": lambda n: ("<attributes><divisions>2</divisions></attributes>" + C5) * n,
    "tempos": lambda n: ('<sound tempo="60"/>' + C5) * n,
    "grace notes": lambda n: (note("C", first="<grace/>") + C5) * n,
    "marks that look like ours": lambda n: words("&#8291;x&#8291;") * n + CHORD,
    "instructions that look like ours": lambda n: "<?ventwise begin?><?ventwise end?>" * n + CHORD,
}  # fmt: skip


def one_part(music: str) -> str:
    listed = '<score-part id="P1"><part-name>Flute</part-name></score-part>'
    first = "<attributes><divisions>1</divisions></attributes>"
    return f'{listed}</part-list><part id="P1"><measure number="1">{first}{music}</measure></part>'


def parts(count: int) -> str:
    listed = "".join(f'<score-part id="P{n}"><part-name>Flute</part-name></score-part>' for n in range(count))
    bar = (
        f'<measure number="1"><attributes><divisions>1</divisions></attributes>{words("multiphonic")}{CHORD}</measure>'
    )
    return f"{listed}</part-list>" + "".join(f'<part id="P{n}">{bar}</part>' for n in range(count))


def work(body: str) -> Counter[tuple[str, int]]:
    """How often each line of our code runs for a score, from reading to stripping."""
    count: Counter[tuple[str, int]] = Counter()

    def each_line(frame: FrameType, event: str, _: Any) -> Any:
        if event == "line":
            count[frame.f_code.co_filename, frame.f_lineno] += 1
        return each_line

    def calls(frame: FrameType, _: str, __: Any) -> Any:
        return each_line if frame.f_code.co_filename.startswith(OURS) else None

    with tempfile.TemporaryDirectory() as name:
        path, out, clean = (Path(name) / f"{each}.musicxml" for each in ("a", "out", "clean"))
        path.write_text(f'<?xml version="1.0"?>\n<score-partwise version="4.0"><part-list>{body}</score-partwise>\n')
        before = sys.gettrace()
        sys.settrace(calls)
        try:
            result = annotate(look(path, Options()), out, in_place=False)
            text.render(result, ascii=False)
            json_report.render(result)
            strip_file(out, clean, in_place=False)
        except InputError:
            pass
        finally:
            sys.settrace(before)
    return count


def grows(body: Callable[[int], str]) -> list[str]:
    """The lines that run out of proportion: where the second doubling adds twice as much as the first, work is in
    proportion to size; where it adds four times as much, it grows with the square."""
    with invented_search():
        work(body(2))  # what is done once for all
        one, two, four = (work(body(SMALL * times)) for times in (1, 2, 4))
    return [
        f"{Path(name).name}:{line}: {one[name, line]}, {two[name, line]}, {times}"
        for (name, line), times in four.items()
        if times - two[name, line] > 2.6 * max(two[name, line] - one[name, line], 0) + SMALL
    ]


@pytest.mark.parametrize("kind", BARS)
def test_work_is_in_proportion_to_the_number_of(kind: str) -> None:
    assert grows(lambda n: one_part(BARS[kind](n))) == []


def test_work_is_in_proportion_to_the_number_of_parts() -> None:
    assert grows(parts) == []


def test_an_endless_chord_is_refused_before_it_is_read() -> None:
    music = note("D", 6, first="<chord/>") * 1000
    once, twice = (work(one_part(C5 + music * times)).total() for times in (1, 2))
    assert once == twice


def test_many_notes_at_one_moment_are_refused_before_each_is_compared_with_all_others() -> None:
    music = (LASTING + BACK.replace("9998", "9999")) * 1000
    assert work(one_part(music)).total() < 500 * 1000


def test_what_grows_with_the_square_would_be_seen() -> None:
    assert grows(lambda n: one_part(C5 * (n * n // 4)))
