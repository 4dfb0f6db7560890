"""A practice pack beside Verovio's own rendering of the same part, in one run; processor time.

The part has 300 bars: the performer's example again and again. Verovio alone loads it and draws what the pack contains: pages as
large as those of part.pdf and, once more, those for a phone. Search is what computes acoustics and no more: judging the demands,
and for the cards impedance curves, jets and the same hand shape elsewhere. The model's sounds are told by themselves."""

import re
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar

import verovio

from annotate.pack import entries, prepare, sounds
from annotate.pack.engraving import Sheet
from annotate.pack.folder import write
from annotate.pack.paper import drawn, part_pdf, phone_sheet, sheet_for
from annotate.pack.part_pages import Drawn
from annotate.pack.svg_out import Store, on_paper
from annotate.pipeline import Options, look

BARS = 300
SCORE = Path(__file__).parents[2] / "examples/performer/lantern-buoy.musicxml"
Done = TypeVar("Done")


def long_part(bars: int) -> str:
    """MusicXML of the performer's example, its bars again and again."""
    text = SCORE.read_text(encoding="utf-8")
    first, last = text.index("<measure"), text.rindex("</part>")
    own = re.findall(r"<measure .*?</measure>\s*", text[first:last], re.DOTALL)
    plain = [own[0], *(re.sub(r"<barline .*?</barline>", "", bar) for bar in own[1:])]
    again = [re.sub(r"<attributes>.*?</attributes>", "", plain[0]), *plain[1:]]
    body = [(plain if at < len(own) else again)[at % len(own)] for at in range(bars)]
    numbered = (re.sub(r'number="\d+"', f'number="{at}"', bar, count=1) for at, bar in enumerate(body, start=1))
    return text[:first] + "".join(numbered) + text[last:]


def timed(what: Callable[[], Done]) -> tuple[float, Done]:
    """Processor time [s], and what came of it."""
    begun = time.process_time()
    done = what()
    return time.process_time() - begun, done


def verovio_alone(text: str, sheets: Sequence[Sheet]) -> list[int]:
    """Load and draw every page on each of some sheets; how many there are."""
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setInputFrom("xml")
    drawn_on = []
    for number, sheet in enumerate(sheets):
        size = {
            "pageWidth": round(sheet.width * 10),
            "pageHeight": round(sheet.height * 10),
            "unit": sheet.staff * 1.25,
        }
        plain = dict.fromkeys(("pageMarginLeft", "pageMarginRight", "pageMarginTop", "pageMarginBottom"), 0)
        toolkit.setOptions(size | plain | {"adjustPageHeight": sheet.by_itself, "scale": 100})
        toolkit.redoLayout() if number else toolkit.loadData(text)
        drawn_on.append(sum(bool(toolkit.renderToSVG(page + 1)) for page in range(toolkit.getPageCount())))
    return drawn_on


class Acoustics:
    """Counts the processor time of what cards compute: `blown` and `shifts`, as the entries call them."""

    def __init__(self) -> None:
        self.seconds = 0.0
        for name in ("blown", "shifts"):
            setattr(entries, name, self._counted(getattr(entries, name)))

    def _counted(self, what: Callable[..., Done]) -> Callable[..., Done]:
        def counted(*given: Any) -> Done:
            seconds, done = timed(lambda: what(*given))
            self.seconds += seconds
            return done

        return counted


def on_sheets(made: prepare.Prepared, music: list[Drawn], drawings: Store) -> bytes:
    """part.pdf."""
    sheets = [[on_paper(svg, drawings) for svg in own.paper] for own in music]
    return part_pdf(list(zip(made.parts, sheets, strict=True)), "a4", "", "", made.words)


def many_demands(count: int) -> str:
    """MusicXML of so many different chords of two notes, from a sixth to a tenth."""
    pairs = [(low, low + wide) for wide in (14, 13, 11, 10, 9, 15, 16, 8) for low in range(62, 84)][:count]
    notes = [_chord(*pair) for pair in pairs]
    bars = [f'<measure number="{at // 2 + 1}">{"".join(notes[at : at + 2])}</measure>' for at in range(0, count, 2)]
    first = "<attributes><divisions>1</divisions></attributes>"
    first += "<direction><direction-type><words>mult.</words></direction-type></direction>"
    heads = '<part-list><score-part id="P1"><part-name>Flute</part-name></score-part></part-list>'
    body = "".join(bars).replace('<measure number="1">', f'<measure number="1">{first}', 1)
    return f'<score-partwise version="4.0">{heads}<part id="P1">{body}</part></score-partwise>'


def _chord(*midi: int) -> str:
    told = []
    for number, one in enumerate(midi):
        name = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")[one % 12]
        alter = "<alter>1</alter>" if name[1:] else ""
        pitch = f"<pitch><step>{name[0]}</step>{alter}<octave>{one // 12 - 1}</octave></pitch>"
        told.append(f"<note>{'<chord/>' * bool(number)}{pitch}<duration>2</duration><type>half</type></note>")
    return "".join(told)


def opened(page: Path, width: int) -> float:
    """Time to the second frame after the page is ready [s], the middle one of five openings in Chromium."""
    from playwright.sync_api import sync_playwright

    frames = (
        "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now()))))"
    )
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        found = []
        for _ in range(5):
            context = browser.new_context(viewport={"width": width, "height": 800})
            seen = context.new_page()
            seen.goto(page.as_uri())
            found.append(seen.evaluate(frames) / 1e3)
            context.close()
        browser.close()
    return sorted(found)[2]


def of_many_demands(folder: Path) -> None:
    """The whole pack of 150 different demands, and how fast its page opens."""
    score = folder / "many.musicxml"
    score.write_text(many_demands(150), encoding="utf-8")
    search, looked = timed(lambda: look(score, Options()))
    whole, files = timed(lambda: prepare.pack(looked, "a4"))
    page = folder / "many.html"
    page.write_bytes(files["index.html"])
    heard = sum(name.endswith(".wav") for name in files)
    size = page.stat().st_size
    print(f"150 different demands: search {search:.1f} s, pack with {heard} sounds {whole:.1f} s, page {size:,} bytes")
    if shutil.which("chromium"):
        print("opens in " + ", ".join(f"{opened(page, width):.2f} s at {width}" for width in (390, 1440)))


def main() -> None:
    """Print the times and their ratio."""
    bars = int(sys.argv[1]) if len(sys.argv) > 1 else BARS
    text = long_part(bars)
    with tempfile.TemporaryDirectory() as name:
        score = Path(name, "long.musicxml")
        score.write_text(text, encoding="utf-8")
        search, looked = timed(lambda: look(score, Options()))
        theirs, (pages,) = timed(lambda: verovio_alone(text, [sheet_for("a4")]))
        both, (_, narrow) = timed(lambda: verovio_alone(text, [sheet_for("a4"), phone_sheet()]))
        acoustics = Acoustics()
        made_s, made = timed(lambda: prepare.prepared(looked))
        cards_s = acoustics.seconds
        drawings = Store("m")
        music_s, music = timed(lambda: [drawn(part, "a4", made.words, drawings) for part in made.parts])
        paper_s, part = timed(lambda: on_sheets(made, music, drawings))
        shown_s, shown = timed(lambda: prepare.shown_on(made, {}))
        page_s, page = timed(lambda: prepare.page(made, music, drawings, shown, "", {}))
        sheet_s, sheet = timed(lambda: prepare.sheet_pdf(made.entries, made.report, shown, "a4", "", "", "", ""))
        files = {"index.html": page, "part.pdf": part, "practice.pdf": sheet}
        folder_s, _ = timed(lambda: write(Path(name, "pack"), files))
        own = [e.answers[0] for e in made.entries if e.answers[0].blown]
        sound_s, heard = timed(lambda: sounds.heard(own))
        if len(sys.argv) < 2:
            of_many_demands(Path(name))
    print(f"{bars} bars, {len(looked.result.decisions)} demands, {len(made.entries)} to practise; processor time [s]")
    print(f"Verovio alone: {pages} pages of paper {theirs:.2f}, these and {narrow} for a phone {both:.2f}")
    print(f"search: demands {search:.2f}, curves, jets and places of the cards {cards_s:.2f}")
    steps = {
        "read and order": made_s - cards_s,
        "music drawn in both": music_s,
        "part.pdf": paper_s,
        f"index.html, {len(page):,} bytes": shown_s + page_s,
        "practice.pdf": sheet_s,
        "files placed": folder_s,
    }
    print("the pack beside search: " + ", ".join(f"{what} {seconds:.3f}" for what, seconds in steps.items()))
    whole = sum(steps.values())
    print(f"  together {whole:.2f}: {whole / both:.2f} of Verovio's two layouts, {whole / theirs:.2f} of paper alone")
    print(f"{len(heard)} sounds {sound_s:.2f}")


if __name__ == "__main__":
    main()
