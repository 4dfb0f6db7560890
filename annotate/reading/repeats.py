"""Which bar follows which when a part is played with its repeats and endings, da capo or dal segno, and coda."""

from collections.abc import Sequence
from dataclasses import dataclass

from annotate.reading.tree import Node
from annotate.reading.values import digit

FORWARD, BACKWARD, ENDING, ENDING_STOPS = "forward", "backward", "ending", "ending stops"
DA_CAPO, DAL_SEGNO, SEGNO, FINE, TO_CODA, CODA = "dacapo", "dalsegno", "segno", "fine", "tocoda", "coda"
_MOST_BARS_OF_ENDINGS = 64  # after a repeat sign: where the next ending may still belong to it
_MOST_PASSES = 50  # bars played for each bar written, over the whole part: more is no music


@dataclass(frozen=True, slots=True)
class RepeatSign:
    """A sign at a bar (index from 0). kind: FORWARD, BACKWARD, ENDING (its first bar), ENDING_STOPS (its last), or a jump, or
    where one leads or ends. times: how often a repeat is played in all; numbers: the times at which an ending is played."""

    bar: int
    kind: str
    times: int = 2
    numbers: frozenset[int] = frozenset()


def signs_of(barline: Node, bar: int) -> list[RepeatSign]:
    """The signs of a `<barline>`; what is no sign of a repeat is passed over."""
    found = []
    for child in barline.children:
        if child.tag == "repeat":
            times = digit(child.attributes.get("times", ""), 2)
            kind = {"forward": FORWARD, "backward": BACKWARD}.get(child.attributes.get("direction", ""))
            found += [RepeatSign(bar, kind, max(times, 1))] if kind else []
        elif child.tag == "ending":
            role = child.attributes.get("type", "")
            numbers = _numbers(child.attributes.get("number", ""))
            if role == "start" and numbers:
                found.append(RepeatSign(bar, ENDING, numbers=numbers))
            elif role in ("stop", "discontinue"):
                found.append(RepeatSign(bar, ENDING_STOPS))
    return found


def jumps_of(sound: Node, bar: int) -> list[RepeatSign]:
    """The jumps that a `<sound>` tells, and where they lead and end."""
    kinds = (DA_CAPO, DAL_SEGNO, SEGNO, FINE, TO_CODA, CODA)
    return [RepeatSign(bar, kind) for kind in kinds if sound.attributes.get(kind, "no") not in ("", "no")]


def _numbers(text: str) -> frozenset[int]:
    return frozenset(digit(piece, 0) for piece in text.replace(",", " ").replace(".", " ").split()) - {0}


def order_played(bars: int, signs: Sequence[RepeatSign]) -> tuple[int, ...]:
    """Indices of the bars in the order in which they are played; as written where the signs make no sense. After the first da
    capo or dal segno no repeat is played again, and of endings the last."""
    order = _with_repeats(bars, signs)
    jump = next((one for one in signs if one.kind in (DA_CAPO, DAL_SEGNO) and one.bar in order), None)
    if jump is None:
        return order
    at = {kind: [one.bar for one in signs if one.kind == kind] for kind in (SEGNO, FINE, TO_CODA, CODA)}
    endings, again = _endings(bars, signs), []
    bar = max((one for one in at[SEGNO] if one <= jump.bar), default=0) if jump.kind == DAL_SEGNO else 0
    while bar < bars:
        if bar in endings and endings[bar][0] + 1 in endings:
            bar = endings[bar][0] + 1
            continue
        again.append(bar)
        if bar in at[FINE]:
            break
        leads = [one for one in at[CODA] if one > bar] if bar in at[TO_CODA] else []
        bar = leads[0] if leads else bar + 1
    return order[: len(order) - order[::-1].index(jump.bar)] + tuple(again)


def _with_repeats(bars: int, signs: Sequence[RepeatSign]) -> tuple[int, ...]:
    """The same without the jumps."""
    written = tuple(range(bars))
    if not signs:
        return written
    forward = {one.bar for one in signs if one.kind == FORWARD}
    backward = {one.bar: one.times for one in signs if one.kind == BACKWARD}
    endings = _endings(bars, signs)
    order: list[int] = []
    bar = start = 0
    turn = 1
    while bar < bars:
        if len(order) > _MOST_PASSES * bars:
            return written
        if bar in forward and bar != start:
            start, turn = bar, 1
        if bar in endings and turn not in endings[bar][1]:
            bar = endings[bar][0] + 1
            continue
        order.append(bar)
        if bar in backward and turn < max(backward[bar], _last_turn(endings, start, bar, forward)):
            bar, turn = start, turn + 1
        else:
            bar += 1
            if bar - 1 in backward:
                start, turn = bar, 1
    return tuple(order)


def _last_turn(endings: dict[int, tuple[int, frozenset[int]]], start: int, bar: int, forward: set[int]) -> int:
    """The last time that the endings of the repeat from `start` over `bar` tell of, 0 for none."""
    past = min((at for at in forward if at > bar), default=bar + _MOST_BARS_OF_ENDINGS)
    last = 0
    for at in sorted(at for at in endings if start <= at < past):
        if at > bar and 1 in endings[at][1]:
            break  # of the next repeat
        last = max(last, *endings[at][1])
    return last


def _endings(bars: int, signs: Sequence[RepeatSign]) -> dict[int, tuple[int, frozenset[int]]]:
    """By its first bar, the last bar of each ending and the times at which it is played."""
    found: dict[int, tuple[int, frozenset[int]]] = {}
    stops = sorted(one.bar for one in signs if one.kind == ENDING_STOPS)
    for one in signs:
        if one.kind == ENDING:
            found[one.bar] = (next((bar for bar in stops if bar >= one.bar), bars - 1), one.numbers)
    return found
