"""Demands and undecided chords, told how a decisions file names their places."""

from dataclasses import replace

from annotate.decisions.address import Addresses
from annotate.detecting.detect import Detected
from annotate.score import Event, Part


def addressed(part: Part, detected: Detected) -> Detected:
    """The same with addresses."""
    if not detected.demands and not detected.undecided:
        return detected
    addresses = Addresses(part)

    def of(event: Event) -> str:
        return str(addresses.of(event) or "")

    return replace(
        detected,
        demands=tuple(replace(one, address=of(one.events[0])) for one in detected.demands),
        undecided=tuple(replace(one, address=of(one.events[0])) for one in detected.undecided),
    )
