"""The catalogue's score: built by music21, one bar for each dyad, its diagram written in as in any other score."""

import tempfile
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path
from typing import Any

from annotate.catalogue.tables import Shape, notes
from annotate.decision import Decision, Status
from annotate.demand import Demand, Kind
from annotate.files import container
from annotate.findings import InputError
from annotate.forms import form_of
from annotate.language import Words
from annotate.marking import Style, mark_parts
from annotate.reading.read import read_score
from fingering_db.catalogue import Multiphonic
from fingering_db.message import Message
from fingering_db.pitch import Pitch

_BARS_OF_A_LINE = 6


def score_file(groups: Sequence[Shape], flute: str, transposition: int, words: Words) -> bytes:
    """MusicXML with a bar for each dyad, group by group, and its diagram above. transposition: sounding minus written pitch
    [semitones]; the score is in written pitch. Raises InputError without music21."""
    listed = [one for group in groups for one in group.dyads]
    bare = _built(groups, flute, transposition, words)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "catalogue.musicxml"
        path.write_bytes(bare)
        form = form_of(container.load(path))
        data = form.meaning()
        (part,) = read_score(data, None).parts
        events = [event for event in part.events if event.notes]
        decisions = [
            _decision(number, one, event, part, flute)
            for number, (one, event) in enumerate(zip(listed, events, strict=True))
        ]
        style = Style("every", notes="none", language=words.language)
        (marked,) = mark_parts([(part, decisions)], style)
        new = form.marked(data, (part,), list(marked.marks), style.carrier)
        form.verify(new)
    return new


def _decision(number: int, one: Multiphonic, event: Any, part: Any, flute: str) -> Decision:
    pitches = tuple(each.written for each in event.notes)
    demand = Demand(f"d{number + 1}", Kind.MULTIPHONIC, part.place(event), (event,), pitches, pitches)
    return Decision(demand, flute, Status.PLAYABLE, Message("status.playable"), one.fingering)


def _built(groups: Sequence[Shape], flute: str, transposition: int, words: Words) -> bytes:
    m21 = _music21()
    part = m21.stream.Part()
    part.partName = words.text("family.flute").capitalize()
    number = 0
    for group in groups:
        for at, one in enumerate(group.dyads):
            measure = m21.stream.Measure(number=number + 1)
            if number == 0:
                measure.append(m21.clef.TrebleClef())
                measure.append(m21.meter.TimeSignature("4/4"))
            if at == 0:
                heading = m21.expressions.RehearsalMark(group.title(words))
                heading.placement = "above"
                measure.insert(0, heading)
            if number and number % _BARS_OF_A_LINE == 0:
                measure.insert(0, m21.layout.SystemLayout(isNew=True))
            pitches = [_pitch(m21, pitch, transposition) for pitch in notes(one)]
            measure.append(m21.chord.Chord(pitches, quarterLength=4))
            if one is group.dyads[-1]:
                measure.rightBarline = m21.bar.Barline("double")
            part.append(measure)
            number += 1
    whole = m21.stream.Score([part])
    whole.metadata = m21.metadata.Metadata(title=words.text("catalogue.title", flute=flute), composer="ventwise")
    return bytes(import_module("music21.musicxml.m21ToXml").GeneralObjectExporter(whole).parse())


def _music21() -> Any:
    """Imported by those alone who make a score."""
    try:
        return import_module("music21")
    except ImportError as error:
        raise InputError(Message("catalogue.needs_music21")) from error


def _pitch(m21: Any, sounding: Pitch, transposition: int) -> Any:
    written = Pitch.from_midi(sounding.midi - transposition)
    made = m21.pitch.Pitch(written.step, octave=written.octave)
    alter = written.alter + written.cents / 100.0
    made.accidental = m21.pitch.Accidental(alter) if alter else None
    return made
