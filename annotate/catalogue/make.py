"""`catalogue`: everything made for one flute or two, as the files of one folder."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from annotate.catalogue import dyad_map, page, tables
from annotate.catalogue.score_file import score_file
from annotate.catalogue.tables import AllSounds, Shape, groups
from annotate.choosing.desk import Desk
from annotate.findings import InputError
from annotate.language import Words
from fingering_db.catalogue import Multiphonic, batches, best_of_cells
from fingering_db.message import Message
from fingering_db.pitch import Pitch, PitchError
from fingering_db.playability import PLAYABLE_CONFIDENCE
from fingering_db.shifts import place_names
from fingering_db.survey import Progress

INDEX = "index.html"
MOST_FLUTES = 2
_ENDINGS = {"all": "-all.csv", "json": ".json", "dyads": "-dyads.csv", "map": "-dyads.svg", "score": ".musicxml"}
_PLAIN = re.compile(r"[^A-Za-z0-9._-]+")


@dataclass(frozen=True, slots=True)
class Made:
    """A flute's part of the catalogue. sets: all sets of notes of all its sounds; stem: of its files' names."""

    desk: Desk
    stem: str
    found: tuple[Multiphonic, ...]
    sets: int
    table: bytes

    @property
    def dyads(self) -> tables.Dyads:
        return tables.dyads(self.found)


def names(desks: Sequence[Desk]) -> tuple[str, ...]:
    """Of the files that will be written; before anything is computed. Raises InputError for more flutes than can be compared."""
    if len(desks) > MOST_FLUTES:
        raise InputError(Message("catalogue.too_many", most=MOST_FLUTES))
    own = [f"{stem}{ending}" for stem in _stems(desks) for ending in _ENDINGS.values()]
    return (INDEX, *own, *(("difference.csv", "difference.svg") if len(desks) > 1 else ()))


def _stems(desks: Sequence[Desk]) -> list[str]:
    stems = [_PLAIN.sub("-", desk.name).strip(".-")[:60] or "flute" for desk in desks]
    return [f"{stem}-{number}" if stems.count(stem) > 1 else stem for number, stem in enumerate(stems, start=1)]


def bounds(lowest: str | None, highest: str | None, a4_hz: float) -> tuple[float, float]:
    """Frequencies between which all notes lie [Hz], a quarter-tone let in at both ends. Raises InputError for a text that is no
    pitch, and where the higher one is below."""
    try:
        low, high = (Pitch.parse(text) if text else None for text in (lowest, highest))
    except PitchError as error:
        raise InputError(error.message) from error
    if low and high and low.midi > high.midi:
        raise InputError(Message("catalogue.no_range", low=low, high=high))
    below = low.transposed(-0.5).hz(a4_hz) if low else 0.0
    return below, high.transposed(0.5).hz(a4_hz) if high else float("inf")


def catalogue(
    desks: Sequence[Desk], between_hz: tuple[float, float], words: Words, progress: Progress | None = None
) -> tuple[dict[str, bytes], list[str]]:
    """The files by name, and what to say of them. Raises InputError."""
    made = [_made(desk, stem, between_hz, progress) for desk, stem in zip(desks, _stems(desks), strict=True)]
    own, shown = zip(*(_files(one, words) for one in made), strict=True)
    files: dict[str, bytes] = {name: content for files in own for name, content in files.items()}
    told = [words.text("catalogue.counted", flute=one.desk.name, sets=one.sets, shown=len(one.found)) for one in made]
    difference = None
    if len(made) > 1:
        first, second = made[0], made[1]
        flutes = first.desk.name, second.desk.name
        picture = dyad_map.difference_map(first.dyads, second.dyads, flutes, words)
        table = tables.difference_table(first.dyads, second.dyads, flutes)
        files |= {"difference.csv": table, "difference.svg": picture}
        difference = picture, (("CSV", "difference.csv"), ("SVG", "difference.svg"))
        told.append(_compared(first, second, words))
    files[INDEX] = page.render(shown, difference, words)
    return files, told


def _made(desk: Desk, stem: str, between_hz: tuple[float, float], progress: Progress | None) -> Made:
    every = AllSounds(desk.model)
    found = best_of_cells(desk.model, batches(desk.model, PLAYABLE_CONFIDENCE, between_hz, progress), every.add)
    return Made(desk, stem, found, every.count, every.content())


def _files(one: Made, words: Words) -> tuple[dict[str, bytes], page.FluteShown]:
    instrument, stem = one.desk.model.instrument, one.stem
    own: tuple[Shape, ...] = groups(one.found, place_names(instrument))
    picture = dyad_map.dyad_map(one.dyads, one.desk.name, words)
    contents = {
        "all": one.table,
        "json": tables.as_json(one.found, one.desk.name, PLAYABLE_CONFIDENCE, one.sets),
        "dyads": tables.dyad_table(one.dyads),
        "map": picture,
        "score": score_file(own, one.desk.name, instrument.transposition_semitones, words),
    }
    links = tuple((words.text(f"catalogue.file_{key}"), f"{stem}{_ENDINGS[key]}") for key in contents)
    files = {f"{stem}{_ENDINGS[key]}": content for key, content in contents.items()}
    return files, page.FluteShown(one.desk.name, instrument.title, instrument.remark, own, one.sets, links, picture)


def _compared(first: Made, second: Made, words: Words) -> str:
    kinds = list(tables.difference(first.dyads, second.dyads).values())
    counts = {kind: kinds.count(kind) for kind in dyad_map.COLOURS}
    named = {"first": first.desk.name, "second": second.desk.name}
    return words.text("catalogue.compared", **named, **counts)
