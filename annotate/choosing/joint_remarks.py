"""What is to be said of the head joint between two notes, and how a finding about a step is made."""

import math

from annotate.choosing.codes import JOINT_OUT, NO_TIME_TO_DRAW, WAY_BACK
from annotate.choosing.hands import Step
from annotate.choosing.joint import NEAR_MM, seconds_to_draw
from annotate.findings import Finding
from annotate.score import Event, Part
from fingering_db.message import Message

_HEARD_CENTS = 10.0  # an ordinary note that the joint leaves nearer than this is not told: ours


def joint_remarks(part: Part, step: Step) -> list[Finding]:
    """A way of the joint that has no time, the time and way of one that has, and ordinary notes played with it out."""
    from_mm, to_mm = step.one.ends_mm, step.two.begins_mm
    needed = seconds_to_draw(from_mm - to_mm)
    found = []
    if needed > step.rest + 1e-9:
        message = Message("joint.no_time", start=from_mm, end=to_mm, needed=needed, rest=step.rest)
        tempo = tempo_at(step.after.first)
        slower = math.floor(tempo * step.rest / needed)
        cure = Message("joint.slower", slower=slower) if slower > 0 else None
        advice = Message("joint.no_time_advice", more=needed - step.rest) + cure
        found.append(finding_at(NO_TIME_TO_DRAW, "warning", part, step, message, advice))
    elif needed:
        message = Message("joint.way_back", start=from_mm, end=to_mm, needed=needed, rest=step.rest)
        found.append(finding_at(WAY_BACK, "info", part, step, message, Message("joint.way_back_advice")))
    if step.after.decision is None and abs(to_mm) > NEAR_MM and abs(step.two.off_cents) > _HEARD_CENTS:
        message = Message("joint.note_out", mm=to_mm, fingering=str(step.end), cents=step.two.off_cents)
        found.append(finding_at(JOINT_OUT, "warning", part, step, message, Message("joint.note_out_advice")))
    return found


def tempo_at(event: Event) -> float:
    """Quarters a minute at an event, NaN for one without length."""
    seconds = event.seconds_end - event.seconds
    return float(event.duration) * 60.0 / seconds if seconds > 0.0 else math.nan


def finding_at(code: str, severity: str, part: Part, step: Step, message: Message, advice: Message) -> Finding:
    """A finding at the place where a step leads."""
    demand = step.after.decision.demand if step.after.decision else None
    place = demand.place if demand else part.place(step.after.first)
    return Finding(code, severity, place, message, advice, demand.id if demand else "")
