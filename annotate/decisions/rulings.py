"""What a decisions file rules for each event of the score, and what of it is about nothing in the score."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from annotate.decisions.address import FLUTE, PITCH, PLACE, WEIGHT, Address, Content, at, content_of, places
from annotate.decisions.aligned import Meant, meant
from annotate.decisions.kept import NO_RULING, NOTHING, Kept, Ruling
from annotate.findings import Finding
from annotate.score import Event, Part
from annotate.weights import MOST, NAMES, is_weight
from fingering_db.message import Message
from fingering_db.pitch import Pitch, PitchError


@dataclass(frozen=True, slots=True)
class Rulings:
    """Everything ruled in a score. readings: of chords, by the byte offset of their event. piece: how every other chord is
    read, '' for as it comes."""

    kept: Kept = NOTHING
    findings: tuple[Finding, ...] = ()
    piece: str = ""
    _places: Mapping[tuple[str, int], Sequence[Ruling]] = field(default_factory=dict)
    _pitches: Mapping[Content, Ruling] = field(default_factory=dict)

    def of(self, part_id: str, event: Event) -> Ruling:
        said = self._said(part_id, event)
        return (
            Ruling(
                next((one.fix for one in said if one.fix), None),
                tuple(wish for one in said for wish in one.forbid),
                tuple(wish for one in said for wish in one.prefer),
                next((one.read for one in said if one.read), ""),
                next((one.note for one in said if one.note), ""),
                next((one.fix_to for one in said if one.fix_to), None),
            )
            if said
            else NO_RULING
        )

    def readings(self, part: Part) -> dict[int, str]:
        """How chords of a part are to be read, by the byte offset of their event."""
        return {event.start: read for event in part.events if (read := self.of(part.id, event).read)}

    def _said(self, part_id: str, event: Event) -> tuple[Ruling, ...]:
        if not self.kept.path:
            return ()
        placed = self._places.get((part_id, event.start), ())
        found = (*placed, self._pitches.get(at(event)), self.kept.piece)
        return tuple(one for one in found if one is not None)


NONE = Rulings()


def rulings(kept: Kept, parts: Sequence[Part]) -> Rulings:
    """Find what the decisions are about in today's score."""
    if not kept.path:
        return NONE
    findings = [_unknown_key(kept, *one) for one in kept.unknown]
    findings += [_no_weight(kept, name, value) for name, value in kept.weights.items() if not is_weight(name, value)]
    placed = _placed(kept, parts, findings)
    standing = {at(event) for part in parts for event in places(part)}
    pitches: dict[Content, Ruling] = {}
    for text, said in kept.pitches.items():
        content = _content(text)
        if content is None:
            findings.append(_unknown(Message("decisions.no_pitch", text=f'{PITCH}."{text}"')))
            continue
        pitches[content] = said
        if content not in standing:
            findings.append(_unknown(Message("decisions.pitch_not_there", text=text)))
    names = {name for part in parts for name in (part.label, part.id, str(part.number))}
    findings += [
        _unknown(Message("decisions.no_part", text=f'{FLUTE}."{name}"')) for name, _ in kept.flutes if name not in names
    ]
    return Rulings(kept, tuple(findings), kept.piece.read, placed, pitches)


def _placed(kept: Kept, parts: Sequence[Part], findings: list[Finding]) -> dict[tuple[str, int], list[Ruling]]:
    """What was decided about places, by part and event; what is said about them is added to the findings."""
    read = {text: Address.parse(text) for text in kept.places}
    said = {address: kept.places[text] for text, address in read.items() if address is not None}
    findings += [
        _unknown(Message("decisions.no_address", text=f'{PLACE}."{text}"')) for text in read if read[text] is None
    ]
    placed: dict[tuple[str, int], list[Ruling]] = {}
    found: set[Address] = set()
    for part in parts:
        own = [one for one in said if one not in found and one.part in ("", part.label, part.id)]
        for address, one in meant(part, own).items():
            found.add(address)
            placed.setdefault((part.id, one.event.start), []).append(said[address])
            findings += _moved(part, address, one)
    standing = {one.content for one in found}
    for address in said:
        if address not in found:
            key = "decisions.place_has_line" if address.content in standing else "decisions.no_such_place"
            findings.append(_unknown(Message(key, text=str(address), pitches=address.pitches)))
    return placed


def _content(text: str) -> Content | None:
    try:
        return content_of(map(Pitch.parse, text.split())) or None
    except PitchError:
        return None


def _unknown_key(kept: Kept, key: str, near: str) -> Finding:
    advice = Message("decisions.key_meant", near=near) if near else Message("decisions.keys_known")
    message = Message("decisions.unknown_key", name=key, path=kept.path)
    return Finding.of("R301", None, message=message, advice=advice)


def _no_weight(kept: Kept, name: str, value: float) -> Finding:
    message = Message("decisions.no_weight", name=f"{WEIGHT}.{name}", value=value, path=kept.path)
    return Finding.of("R301", None, message=message, advice=Message("decisions.weights_known", names=NAMES, most=MOST))


def _unknown(message: Message) -> Finding:
    return Finding.of("R302", None, message=message)


def _moved(part: Part, address: Address, one: Meant) -> list[Finding]:
    if one.sure and not one.moved:
        return []
    key = "decisions.moved" if one.sure else "decisions.perhaps"
    message = Message(key, pitches=address.pitches, bar=address.bar, now=one.event.bar)
    advice = Message("decisions.moved_advice" if one.sure else "decisions.perhaps_advice")
    finding = Finding.of("R303", part.place(one.event), message=message, advice=advice)
    return [finding if one.sure else replace(finding, severity="warning")]
