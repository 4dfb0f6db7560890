"""The codes of findings that reading can give, each explained in one sentence."""

from __future__ import annotations

ENCODING_CONTRADICTED = "F101"
ENCODING_BROKEN = "F102"
JUNK_BEFORE_XML = "F103"

NO_TEMPO = "R101"
NO_DIVISIONS = "R102"
ACCIDENTAL_CONFLICT = "R103"
ACCIDENTAL_WITHOUT_SIZE = "R104"
VALUE_IGNORED = "R105"
DURATION_FROM_TYPE = "R106"
NOTE_WITHOUT_PITCH = "R107"
BACKUP_TOO_FAR = "R108"
CHORD_WITHOUT_NOTE = "R109"
PART_NOT_LISTED = "R110"
PART_WITHOUT_MUSIC = "R111"
FLUTE_CHANGES = "R112"
NOT_TRANSPOSED = "R113"

CODES: dict[str, str] = {
    ENCODING_CONTRADICTED: (
        "The file declares one character encoding and is written in another; it was read in the one it is written in."
    ),
    ENCODING_BROKEN: (
        "The file declares UTF-8 but holds bytes that are not UTF-8; it was read as ISO-8859-1, so"
        " accented letters may look wrong, and notes are not affected."
    ),
    JUNK_BEFORE_XML: (
        "Something stands before the beginning of the XML; it was skipped in reading and is kept in the file."
    ),
    NO_TEMPO: (
        "The score gives no tempo in numbers, so 120 quarter notes a minute were assumed for all times in seconds."
    ),
    NO_DIVISIONS: (
        "A part does not say how many divisions a quarter note has; one division a quarter note was assumed."
    ),
    ACCIDENTAL_CONFLICT: (
        "The printed accidental and the pitch stored in the file disagree; the message says which of the two was taken."
    ),
    ACCIDENTAL_WITHOUT_SIZE: (
        "The accidental belongs to a system without an agreed size in cents and the file stores no exact"
        " pitch, so the size named in the message was assumed."
    ),
    VALUE_IGNORED: "A value in the file could not be understood and does not decide about notes; it was left out.",
    DURATION_FROM_TYPE: "A note has no duration in the file; its length was taken from its printed shape.",
    NOTE_WITHOUT_PITCH: "A note has neither a pitch nor a rest in the file; it was read as a rest.",
    BACKUP_TOO_FAR: "A voice starts before the beginning of its bar; it was read from the beginning of the bar.",
    CHORD_WITHOUT_NOTE: (
        "A chord note stands in the file with no note before it in its bar; it was read as a note of its own."
    ),
    PART_NOT_LISTED: "A part has music but is missing from the score's list of parts; its id was taken as its name.",
    PART_WITHOUT_MUSIC: "A part is in the score's list of parts but has no music in the file.",
    FLUTE_CHANGES: (
        "The score changes to another flute inside a part, by its instruments or by words; from there on the"
        " part is judged on that flute. Say --flute NAME to judge everything on one."
    ),
    NOT_TRANSPOSED: (
        "The kind of flute named in the score sounds at another pitch than written, and the file transposes its notes"
        " differently; pitches were taken as the file says. Set the instrument's transposition in your program."
    ),
}
