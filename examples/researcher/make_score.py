"""Makes vent-ladder.musicxml: the ten places of `ventwise shifts "small 4" --flute vented-b`, each as the chord of its first
two resonances to the nearest quarter-tone. Invented: the quintet Breakwater tries a flute with vents that nobody has built.

`python make_score.py` in this folder (needs music21)."""

from pathlib import Path

from music21 import expressions, instrument, metadata, meter, note, stream, tempo
from music21.chord import Chord
from music21.pitch import Pitch as ScorePitch

from fingering_db.instrument import load
from fingering_db.model import model
from fingering_db.pitch import Pitch
from fingering_db.shifts import Pattern, shifts


def quarter_tone(hz: float) -> ScorePitch:
    """The nearest quarter-tone."""
    return ScorePitch(ps=round(2.0 * Pitch.from_hz(hz).midi) / 2.0)


def score() -> stream.Score:
    """Ten whole-note chords, from the top of the flute to its foot."""
    part = stream.Part(id="P1")
    part.insert(0, instrument.Flute())
    part.partName = "Flute"
    places = [one for one in shifts(model(load("vented-b")), Pattern.parse("small 4")) if one.reachable]
    for number, place in enumerate(places, start=1):
        bar = stream.Measure(number=number)
        if number == 1:
            bar.append(meter.TimeSignature("4/4"))
            bar.insert(0, tempo.MetronomeMark(number=50))
            bar.insert(0, expressions.TextExpression("mult."))
        pitches = [quarter_tone(sound.hz) for sound in place.sounds[:2]]
        bar.append(Chord([note.Note(pitch) for pitch in pitches], quarterLength=4.0))
        part.append(bar)
    whole = stream.Score([part])
    whole.metadata = metadata.Metadata(title="Vent Ladder", composer="(invented)")
    return whole


if __name__ == "__main__":
    score().write("musicxml", Path(__file__).parent / "vent-ladder.musicxml", makeNotation=False)
