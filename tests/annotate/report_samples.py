"""Invented results for the report tests: nothing here was computed or played, all figures are made up."""

from fractions import Fraction
from typing import Any

from annotate.decision import Alternative, Decision, Instead, PathPoint, Result, Sound, Status
from annotate.demand import Demand, Kind, NotJudged
from annotate.findings import Finding
from annotate.place import Place
from fingering_db.fingering import Fingering
from fingering_db.message import Message
from fingering_db.pitch import Pitch


def pitches(text: str) -> tuple[Pitch, ...]:
    """`C5 D6` as pitches."""
    return tuple(Pitch.parse(name) for name in text.split())


def place(bar: str, beat: float = 1.0, part: str = "Flute", **more: Any) -> Place:
    return Place(part, more.pop("part_id", "P1"), bar, Fraction(beat).limit_denominator(64), **more)


def demand(number: int, at: Place, asked: str, kind: str = "multiphonic", **more: Any) -> Demand:
    """An invented demand; sounding as written unless told."""
    written = pitches(asked)
    to = pitches(more.pop("to", ""))
    sounding = more.pop("sounding", written)
    return Demand(f"d{number}", Kind(kind), at, (), written, sounding, to=to, to_sounding=to, **more)


def said(text: str) -> Message:
    """A text as a message."""
    return Message("list.sentences", list=(text,))


def _decision(asked: Demand, flute: str, values: dict[str, Any]) -> Decision:
    held = {name: read(values[name]) for name in ("fingering", "contrary") if isinstance(values.get(name), str)}
    return Decision(asked, flute, **(values | held | {"status": Status(values["status"])}))


def read(text: str) -> Fingering | None:
    """A fingering from its text, None for ''."""
    return Fingering.parse(text) if text else None


def playable(asked: Demand, flute: str = "open-hole-b", **more: Any) -> Decision:
    """An invented answer: `T 2 3 | Eb`, 6 cents low and 11 high."""
    values: dict[str, Any] = {
        "status": "playable",
        "why": "Both notes lie within 30 cents.",
        "fingering": "T 2 3 | Eb",
        "deviation_cents": (-6.2, 10.8),
        "band_cents": (9.4, 12.2),
        "confidence": 0.834,
        "sounds": (
            Sound(521.377, Pitch("C", 0, 5, -6.2), 0.9, holds=0.55, speed_m_s=(14.0, 31.0)),
            Sound(905.5, Pitch("A", 0, 5, 49.6), 0.55),
            Sound(1182.1, Pitch("D", 0, 6, 10.8), 0.8),
            Sound(2100.0, Pitch("C", 0, 7, 5.8), 0.2),
        ),
        "alternatives": (
            Alternative(Fingering.parse("T 2 3 G# | Eb"), (-12.0, 14.0), (9.0, 12.0), 0.71),
            Alternative(Fingering.parse("T 2 3 | 1 2 3 C#"), (19.0, 0.2), (9.0, 12.0), 0.55),
            Alternative(Fingering.parse("1 2 3 | Eb"), (25.0, -3.0), (9.0, 12.0), 0.4),
            Alternative(Fingering.parse("2 3 | Eb"), (28.0, -30.0), (9.0, 12.0), 0.3),
        ),
        "notes": ("mult.",),
    }
    return _decision(asked, flute, values | more)


def unplayable(asked: Demand, flute: str = "open-hole-b", **more: Any) -> Decision:
    """An invented refusal with two ways out."""
    values: dict[str, Any] = {
        "status": "unplayable",
        "why": "No fingering sounds C#5 and C6 together: the nearest lies 84 cents low on C6.",
        "instead": (
            Instead(
                pitches("C5 C#6"), Fingering.parse("T 2 3o | Eb"), said("a semitone away, both notes within 12 cents")
            ),
            Instead(pitches("C5 D6"), Fingering.parse("T 2 3 | Eb"), said("the steadiest pair near it")),
        ),
        "notes": ("mult. (not playable)",),
    }
    return _decision(asked, flute, values | more)


GLIDE_PATH = (
    PathPoint(
        0.0, 0.0, (("2", 0.0),), 0.0, Fingering.parse("T 2 3 | Eb"), (Sound(523.0, Pitch("C", 0, 5, -1.0), 0.9),)
    ),
    PathPoint(0.5, 11.25, (("2", 0.2),), -5.0, Fingering.parse("T 2o 3 | Eb")),
    PathPoint(1.0, 23.04, (("2", 0.4),), -20.0, Fingering.parse("T 2o 3 | Eb")),
)


def rich_result(score: str = "invented/duo.musicxml") -> Result:
    """One flute; three equal multiphonics, a doubtful microtone, a glissando, a refusal, findings."""
    first = demand(1, place("12", 2, rehearsal="C+3", seconds=31.496), "C5 D6", word="M")
    again = demand(2, place("14", 1, seconds=37.0), "C5 D6")
    third = demand(3, place("14", 3, seconds=38.0), "C5 D6")
    quarter = demand(4, place("15", 1.5, seconds=41.0), "Bb4+50", kind="microtone")
    refused = demand(5, place("20", 1, seconds=62.0), "C#5 C6")
    glide = demand(6, place("21", 1, seconds=65.0), "C5 D6", kind="glissando", to="B4 C#6", continuous=True)
    return Result(
        score=score,
        flutes=("open-hole-b",),
        decisions=(
            playable(first),
            playable(again),
            playable(third),
            playable(
                quarter, status="doubtful", why="Bb4+50 comes out 27 cents high.", deviation_cents=(27.0,),
                fingering="Tb 1 2ov | 1o tr1 B", confidence=0.5, alternatives=(),
                notes=("1/4 tone (?)", "+27 ct"), sounds=(Sound(487.0, Pitch("B", 0, 4, -24.0), 0.9),),
            ),
            unplayable(refused),
            playable(
                glide, path=GLIDE_PATH, deviation_cents=(-6.0, 11.0, 3.0, 0.0), why="The slide does it all.",
            ),
        ),
        findings=(
            Finding("R3", "info", place("3"), "Read as two players.", "See --chords."),
            Finding(
                "P1", "error", place("20"),
                "No fingering sounds C#5 and C6 together: the nearest lies 84 cents low on C6.",
                "Write C5 and C♯6 instead.", demand="d5",
            ),
            Finding("H1", "warning", place("14"), "The right hand leaves.", "Allow time.", "d2"),
        ),
        not_judged=tuple(NotJudged(place(bar), Message("technique.whistle tone")) for bar in ("30", "31")),
        parts_read=("Flute",),
    )  # fmt: skip


def two_flutes() -> Result:
    """Two flutes on the same two demands: the second loses one and gains the other."""
    one = demand(1, place("12", 2, rehearsal="C+3", seconds=31.5), "C5 D6")
    two = demand(2, place("20", 1, seconds=62.0), "C#5 C6")
    return Result(
        score="invented/duo.musicxml",
        flutes=("open-hole-b", "vented-b"),
        decisions=(
            playable(one),
            unplayable(one, "vented-b", why="The vent levers are in the way."),
            unplayable(two),
            playable(two, "vented-b", fingering="Tv 2v 3 | 1v Eb"),
        ),
        parts_read=("Flute",),
    )
