"""Notes that somebody played on known fingerings, as a table of text (CSV): fingering, note, and where it sounded."""

import csv
import io
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import TypeVar

from fingering_db.fingering import Fingering, FingeringError
from fingering_db.instrument import Instrument
from fingering_db.mechanism import hole_states
from fingering_db.message import Message
from fingering_db.pitch import Pitch, PitchError

MOST_BYTES, MOST_ROWS = 1 << 20, 2000
COLUMNS = ("fingering", "note", "hz", "cents", "temperature_c", "take", "comment")
_BOUNDS = {"hz": (50.0, 8000.0), "cents": (-1200.0, 1200.0), "temperature_c": (-10.0, 45.0)}


class PlayedError(ValueError):
    """A table that cannot be used: every mistake a message, with line, column, what stands there and what was expected."""

    @property
    def mistakes(self) -> tuple[Message, ...]:
        return self.args


@dataclass(frozen=True, slots=True)
class PlayedNote:
    """One row. line: in the file, 1 for the header. note: written pitch. hz: sounding frequency [Hz]. temperature_c: of the air
    in the tube, NaN where not told. take: what was played at one time, '' for one take alone. is_multiphonic: a row of a
    recording that names no note; `note` and `hz` mean nothing."""

    line: int
    fingering: Fingering
    note: Pitch
    hz: float
    temperature_c: float = math.nan
    take: str = ""
    is_multiphonic: bool = False


def read(raw: bytes, instrument: Instrument, a4_hz: float, *, measured: bool = True) -> tuple[PlayedNote, ...]:
    """The rows of a table. a4_hz: what `cents` count from [Hz]. measured: whether each row tells its pitch; else none does,
    `hz` is that of the note, and a row without a note is a multiphonic.

    Commas, semicolons or tabs part the cells; with the latter two a decimal comma is read. Raises PlayedError."""
    text = decoded(raw, MOST_BYTES)
    delimiter = max(",;\t", key=text.partition("\n")[0].count)
    numbered = table_rows(text, delimiter)
    _, header = next(numbered, (1, []))
    names = [cell.strip().lower() for cell in header]
    wrong = wrong_header(names, COLUMNS, ("fingering", "note"))
    if measured and "hz" not in names and "cents" not in names:
        wrong.append(Message("played.no_measure"))
    if wrong:
        raise PlayedError(*wrong)
    found: list[PlayedNote] = []
    for line, cells in numbered:
        try:
            found.append(_Row(line, names, cells, delimiter != ",", measured).note(instrument, a4_hz))
        except PlayedError as error:
            wrong += error.mistakes
        if len(found) > MOST_ROWS:
            raise PlayedError(Message("played.too_many", most=MOST_ROWS))
    if wrong:
        raise PlayedError(*wrong)
    if not found:
        raise PlayedError(Message("played.no_rows"))
    return tuple(found)


def decoded(raw: bytes, most_bytes: int) -> str:
    """The text of a table. Raises PlayedError."""
    if len(raw) > most_bytes:
        raise PlayedError(Message("played.too_large", most=most_bytes >> 10))
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise PlayedError(Message("played.no_text")) from error


def table_rows(text: str, delimiter: str = ",") -> Iterator[tuple[int, list[str]]]:
    """Rows that are not empty, each with the line that it ends in. Raises PlayedError."""
    reader, line = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True), 0
    try:
        for cells in reader:
            line = reader.line_num
            if any(cell.strip() for cell in cells):
                yield line, cells
    except csv.Error as error:
        raise PlayedError(Message("played.no_table", line=line + 1, reason=str(error))) from error


def wrong_header(names: list[str], columns: tuple[str, ...], needed: tuple[str, ...]) -> list[Message]:
    """What is wrong with the names of columns."""
    unknown = [name for name in names if name and name not in columns]
    wrong = [Message("played.unknown_column", name=name[:40], columns=columns) for name in unknown]
    wrong += [Message("played.column_twice", name=name) for name in columns if names.count(name) > 1]
    return wrong + [Message("played.no_column", name=name) for name in needed if name not in names]


Value = TypeVar("Value")
_NO_NOTE = Pitch("A", 0, 4)  # of a multiphonic: means nothing


@dataclass(frozen=True, slots=True)
class _Row:
    """The cells of one line, and what is wrong with them. comma: whether decimals may have one; measured: as in `read`."""

    line: int
    names: list[str]
    cells: list[str]
    comma: bool
    measured: bool
    wrong: list[Message] = field(default_factory=list)

    def note(self, instrument: Instrument, a4_hz: float) -> PlayedNote:
        """What the row tells. Raises PlayedError with every mistake of it."""
        if any(cell.strip() for cell in self.cells[len(self.names) :]):
            self.wrong.append(Message("played.too_wide", line=self.line, most=len(self.names)))
        fingering = self._read("fingering", lambda text: _fingering(instrument, text))
        is_multiphonic = not self.measured and not self.text("note")
        note = _NO_NOTE if is_multiphonic else self._read("note", Pitch.parse)
        celsius = self._number("temperature_c") if self.text("temperature_c") else math.nan
        measured = [column for column in ("hz", "cents") if self.text(column)]
        if self.measured and len(measured) != 1:
            self.wrong.append(Message("played.one_measure", line=self.line))
        if not self.measured and measured:
            self.wrong.append(Message("played.no_measure_here", line=self.line))
        number = self._number(measured[0]) if measured else (None if self.measured else 0.0)
        if self.wrong or fingering is None or note is None or number is None or celsius is None:
            raise PlayedError(*self.wrong)
        sounding = note.transposed(instrument.transposition_semitones).hz(a4_hz)
        hz = number if measured == ["hz"] else sounding * 2.0 ** (number / 1200.0)
        return PlayedNote(self.line, fingering, note, hz, celsius, self.text("take")[:60], is_multiphonic)

    def text(self, column: str) -> str:
        """What stands in a column, '' where it is not there."""
        at = self.names.index(column) if column in self.names else len(self.cells)
        return self.cells[at].strip() if at < len(self.cells) else ""

    def _read(self, column: str, reading: Callable[[str], Value]) -> Value | None:
        try:
            return reading(self.text(column))
        except (FingeringError, PitchError) as error:
            self._mistaken(column, error.message)
        return None

    def _number(self, column: str) -> float | None:
        text, (least, most) = self.text(column), _BOUNDS[column]
        try:
            number = float(text.replace(",", ".") if self.comma else text)
        except ValueError:
            number = math.nan
        if least <= number <= most:
            return number
        self._mistaken(column, Message("played.expected_number", text=text[:60], least=least, most=most))
        return None

    def _mistaken(self, column: str, why: Message | str) -> None:
        self.wrong.append(Message("played.mistake", line=self.line, column=column, why=why))


def _fingering(instrument: Instrument, text: str) -> Fingering:
    fingering = Fingering.typed(text)
    hole_states(instrument, fingering)  # raises where the flute lacks a key
    return fingering
