"""What the copy of a part lacks to be drawn: accidentals that its `<alter>`s need, beams where it has none, and the words of
lines, which the engraver leaves out.

The engraver draws `<accidental>` and `<beam>` as they are written, and MusicXML leaves both to the file: a file with neither
is whole for a program that plays it, and would be wrong notes and lone flags on paper."""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache

from lxml import etree

from annotate.reading.accidentals import accidental_of

_Force = frozenset[int]
_SIGNS = {
    -6: "triple-flat", -4: "flat-flat", -3: "three-quarters-flat", -2: "flat", -1: "quarter-flat", 0: "natural",
    1: "quarter-sharp", 2: "sharp", 3: "three-quarters-sharp", 4: "double-sharp", 6: "triple-sharp",
}  # fmt: skip
"""By quarter-tones: names of MusicXML 4.0, accidental-value."""
_SHARPENED, _FLATTENED = "FCGDAEB", "BEADGCF"
_BEHIND_ACCIDENTAL = (
    "time-modification", "stem", "notehead", "notehead-text", "staff", "beam", "notations", "lyric", "play", "listen",
)  # fmt: skip
_BEHIND_BEAM = ("notations", "lyric", "play", "listen")
_BEHIND_CLEF = ("staff-details", "transpose", "for-part", "directive", "measure-style")
_LOUDNESS = re.compile(r"\s*(poco |molto |pi[uù] |meno )?(cresc|decresc|dim|p+\b|f+\b|m[pf]\b|s?fz?\b)", re.IGNORECASE)
_BEAMS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5, "256th": 6}
_IRREGULAR = {5: (3, 2), 7: (2, 2, 3)}  # eighths of a group


def complete(part: etree._Element) -> None:
    """Write into a part what it lacks. part: of a partwise score, changed."""
    bars = [_Bar.of(bar, length) for bar, length in _lengths(part)]
    _words_of_lines(part)
    _clef_and_places(part)
    _accidentals(bars)
    if next(part.iter("beam"), None) is None:
        for bar in bars:
            _beam(bar)


def _words_of_lines(part: etree._Element) -> None:
    """Words along the line of a glissando or slide, such as "gliss.", as words above its first note."""
    for line in list(part.iter("glissando", "slide")):
        told = " ".join((line.text or "").split())
        note = next(line.iterancestors("note"), None)
        if not told or note is None or line.get("type") != "start":
            continue
        bar = note.getparent()
        if bar is not None and any(told in " ".join((one.text or "").split()) for one in bar.iter("words")):
            continue  # said there already
        staff = note.find("staff")
        while note.find("chord") is not None and (before := note.getprevious()) is not None and before.tag == "note":
            note = before
        direction = etree.Element("direction", placement="above")
        etree.SubElement(etree.SubElement(direction, "direction-type"), "words", {"font-style": "italic"}).text = told
        if staff is not None:
            etree.SubElement(direction, "staff").text = staff.text
        note.addprevious(direction)


def _clef_and_places(part: etree._Element) -> None:
    """A treble clef where there is none at all, and words that the file puts neither above nor below above the staff; dynamics in
    words, as "cresc.", stay below."""
    first = next(part.iter("measure"), None)
    if first is not None and next(part.iter("clef"), None) is None:
        attributes = first.find("attributes")
        if attributes is None:
            attributes = etree.Element("attributes")
            first.insert(0, attributes)
        clef = etree.Element("clef")
        etree.SubElement(clef, "sign").text, etree.SubElement(clef, "line").text = "G", "2"
        _put_before(attributes, clef, _BEHIND_CLEF)
    for direction in part.iter("direction"):
        told = [one for one in direction.iter("words") if not one.get("default-y", "").startswith("-")]
        if told and direction.get("placement") is None and not _LOUDNESS.match(told[0].text or ""):
            direction.set("placement", "above")


@dataclass(slots=True)
class _Bar:
    """placed: notes and attributes with their onsets [quarter notes], in the order of sounding; metre: lengths of its groups;
    before: by how much a pick-up falls short of its bar [both quarter notes]."""

    placed: list[tuple[Fraction, etree._Element]]
    metre: tuple[Fraction, ...]
    before: Fraction

    @classmethod
    def of(cls, bar: etree._Element, told: tuple[Fraction, tuple[Fraction, ...]]) -> "_Bar":
        divisions, metre = told
        placed: list[tuple[Fraction, etree._Element]] = []
        now = last = Fraction(0)
        ends = [now]
        for child in bar:
            if child.tag == "attributes":
                divisions = _number(child.findtext("divisions")) or divisions
                placed.append((now, child))
            elif child.tag in ("note", "backup", "forward"):
                length = (_number(child.findtext("duration")) or Fraction(0)) / divisions
                chord = child.find("chord") is not None
                if child.tag == "note":
                    placed.append((last if chord else now, child))
                if not chord:
                    last, now = now, max(Fraction(0), now - length) if child.tag == "backup" else now + length
                    ends.append(now)
        if bar.find("backup") is not None:
            placed.sort(key=lambda one: one[0])
        pick_up = bar.get("implicit") == "yes" and bar.getprevious() is None
        return cls(placed, metre, max(Fraction(0), sum(metre) - max(ends)) if pick_up else Fraction(0))


@lru_cache(maxsize=256)
def _number(text: str | None) -> Fraction | None:
    try:
        return Fraction((text or "").strip())
    except (ValueError, ZeroDivisionError):
        return None


def _lengths(part: etree._Element) -> Iterator[tuple[etree._Element, tuple[Fraction, tuple[Fraction, ...]]]]:
    """Every bar with the divisions of a quarter note at its beginning and the groups of its metre [quarter notes]."""
    divisions = Fraction(1)
    metre: tuple[Fraction, ...] = ()
    for bar in part.findall("measure"):
        time = next(bar.iter("time"), None)
        if time is not None:
            metre = _groups(time)
        yield bar, (divisions, metre)
        for one in bar.iter("divisions"):
            divisions = _number(one.text) or divisions


def _groups(time: etree._Element) -> tuple[Fraction, ...]:
    """Lengths of the groups that a metre beams [quarter notes]; none where it has no metre."""
    unit = _number(time.findtext("beat-type"))
    counts = [_number(one) for one in (time.findtext("beats") or "").split("+")]
    found: list[Fraction] = []
    for count in counts:
        if not unit or not count or count.denominator != 1 or not 0 < count <= 64 or unit <= 0:
            return ()
        beats, beat = int(count), 4 / unit
        if unit >= 8 and beats % 3 == 0:
            found += [3 * beat] * (beats // 3)
        elif len(counts) > 1 or unit < 8:
            found += [beats * beat] if len(counts) > 1 and unit >= 8 else [beat] * beats
        else:
            split = _IRREGULAR.get(beats) or (2,) * (beats // 2) + (1,) * (beats % 2)
            found += [one * beat for one in split]
    return tuple(found)


@dataclass(slots=True)
class _Memory:
    """What holds [quarter-tones]: by the key on a staff, in the bar on a staff, step and octave, and what a tie last began
    with on a step and octave, for every voice that ends one."""

    keys: dict[str, dict[str, int]] = field(default_factory=dict)
    bar: dict[tuple[str, str, str], _Force] = field(default_factory=dict)
    ties: dict[tuple[str, str], int] = field(default_factory=dict)

    def new_key(self, attributes: etree._Element) -> None:
        for key in attributes.findall("key"):
            steps = _key_steps(key)
            if key.get("number") is None:
                self.keys.clear()
            self.keys[key.get("number") or ""] = steps

    def by_key(self, staff: str, step: str) -> int:
        return self.keys.get(staff, self.keys.get("", {})).get(step, 0)


def _key_steps(key: etree._Element) -> dict[str, int]:
    fifths = _number(key.findtext("fifths"))
    if fifths is not None:
        order = _SHARPENED if fifths > 0 else _FLATTENED
        way = 2 if fifths > 0 else -2
        return {order[n % 7]: way * (n // 7 + 1) for n in range(min(14, abs(int(fifths))))}
    alters = [_number(one.text) or Fraction(0) for one in key.findall("key-alter")]
    steps = [(one.text or "").strip() for one in key.findall("key-step")]
    return {step: _quarters(alter) for step, alter in zip(steps, alters, strict=False)}


@lru_cache(maxsize=256)
def _quarters(semitones: Fraction) -> int:
    """The nearest quarter-tone: a stored deviation of tuning has no sign of its own."""
    nearest = math.floor(abs(semitones) * 2 + Fraction(1, 2))
    return nearest if semitones > 0 else -nearest


def _accidentals(bars: Sequence[_Bar]) -> None:
    memory = _Memory()
    for bar in bars:
        memory.bar.clear()
        for _, one in bar.placed:
            if one.tag == "attributes":
                memory.new_key(one)
            elif one.get("print-object") != "no" and (pitch := one.find("pitch")) is not None:
                _accidental(memory, one, {str(child.tag): (child.text or "").strip() for child in pitch})


def _accidental(memory: _Memory, note: etree._Element, pitch: dict[str, str]) -> None:
    """Write the accidental that a note needs after all before it; keep in mind what holds after it."""
    own = {child.tag: child for child in note}
    step, octave = pitch.get("step", ""), pitch.get("octave", "")
    staff = (own["staff"].text or "1").strip() if "staff" in own else "1"
    at = staff, step, octave
    wanted = _quarters(_number(pitch.get("alter", "0")) or Fraction(0))
    force = memory.bar.get(at, frozenset((memory.by_key(staff, step),)))
    ties = {one.get("type") for one in note.iter("tie", "tied")}
    written = own.get("accidental")
    tied = memory.ties.get((step, octave)) == wanted and "stop" in ties
    if written is not None:
        memory.bar[at] = _holding(wanted, written)
    elif wanted not in force and tied:
        memory.bar[at] = frozenset()  # a tie carries to its own note alone: the next one tells again
    elif wanted not in force and wanted in _SIGNS:
        sign = etree.Element("accidental")
        sign.text = _SIGNS[wanted]
        _put_before(note, sign, _BEHIND_ACCIDENTAL)
        memory.bar[at] = frozenset((wanted,))
    if "start" in ties:
        memory.ties[step, octave] = wanted


def _holding(stored: int, written: etree._Element) -> _Force:
    """What needs no sign after a written one: what the file stores there and what the sign means, and for a microtone its whole
    semitones, which programs without microtones store."""
    sign = accidental_of((written.text or "").strip(), written.get("smufl", ""))
    if sign is None:
        return frozenset((stored,))
    whole = {2 * math.trunc(sign.semitones)} if sign.microtonal else set()
    return frozenset({stored, _quarters(Fraction(sign.semitones))} | whole)


def _put_before(note: etree._Element, new: etree._Element, behind: Sequence[str]) -> None:
    at = next((number for number, child in enumerate(note) if child.tag in behind), len(note))
    note.insert(at, new)


def _beam(bar: _Bar) -> None:
    """Beams for each run of notes with flags, in a voice, within a group of the metre, without a rest between."""
    runs: dict[str, list[etree._Element]] = {}
    group: dict[str, int] = {}
    for onset, note in bar.placed:
        if note.tag != "note" or note.find("chord") is not None or note.find("grace") is not None:
            continue
        voice = f"{note.findtext('staff')} {note.findtext('voice')}"
        number = _group_at(bar.metre, onset + bar.before)
        run = runs.setdefault(voice, [])
        flagged = note.find("rest") is None and (note.findtext("type") or "").strip() in _BEAMS
        if run and (not flagged or group[voice] != number):
            _write_beams(run)
            run.clear()
        if flagged and number >= 0:
            run.append(note)
            group[voice] = number
    for run in runs.values():
        _write_beams(run)


def _group_at(metre: Sequence[Fraction], onset: Fraction) -> int:
    """Which group of a metre a note begins in, -1 outside of them."""
    for number, length in enumerate(metre):
        onset -= length
        if onset < 0:
            return number
    return -1


def _write_beams(run: Sequence[etree._Element]) -> None:
    if len(run) < 2:
        return
    counts = [_BEAMS[(note.findtext("type") or "").strip()] for note in run]
    for number, note in enumerate(run):
        for level in range(1, counts[number] + 1):
            before = number > 0 and counts[number - 1] >= level
            after = number + 1 < len(run) and counts[number + 1] >= level
            hook = "backward hook" if number else "forward hook"
            beam = etree.Element("beam", number=str(level))
            beam.text = {(0, 1): "begin", (1, 1): "continue", (1, 0): "end"}.get((before, after), hook)
            _put_before(note, beam, _BEHIND_BEAM)
