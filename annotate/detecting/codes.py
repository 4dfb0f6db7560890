"""Codes of the findings of this stage, each with the sentence that `ventwise explain` gives."""

from __future__ import annotations

CODES: dict[str, str] = {
    "R201": "A chord needs something that leads to a reading: a word, sign or fingering at it, or techniques or a habit of "
    "chords in a part for one flute, against names, words, voices and other parts that tell of several players. Here nothing "
    "leads, or both do; nothing is asked and nothing written there. Write 'mult.' or 'a 2', or say --chords multiphonic, "
    "players or voice.",
    "R203": "In a part for several players a word, a fingering or a technique gives a chord to one of them; "
    "it is read as a multiphonic.",
    "R204": "Chords are read as several players, one note each; they ask for no multiphonic.",
    "R205": "Chords are read as singing while playing; what is sung is not judged.",
    "R206": "A technique word holds for its note or chord and what is tied or slurred to it, and on while the next events are "
    "of the kind it names (for 'mult.': chords), until 'ord.', 'trem.', another technique word, a single note, a bar of rest or "
    "a double bar; 'sempre', a line or a bracket hold it as written. Here it makes multiphonics of several single notes and "
    "nothing ends it.",
    "R207": "A fingering is written at a single note without a technique word; it is read as a multiphonic "
    "whose other pitches are left open.",
    "R208": "Notes of two voices sound together without starting and ending together; they are read as "
    "several players and ask for no multiphonic.",
    "G201": "A glissando or slide starts at a note and nothing tells where it ends; it is not judged.",
    "G202": "A glissando or slide ends at a note and nothing tells where it started; it is not judged.",
    "G203": "A glissando or slide starts and ends at the same pitch; there is nothing to glide over.",
    "G204": "A glissando word stands where no line leads from note to note; no glissando is read.",
    "G205": "A glissando or slide leads to or from a note that is hidden or a cue; it is not judged.",
}
