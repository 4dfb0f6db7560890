"""What the name of a part tells about how many players it has."""

import re
import unicodedata

from annotate.detecting.words import SEVERAL, word_tables

NUMBERED, PLAIN = "numbered", "plain"

_NUMBER = r"(?:\d{1,2}|i{1,3}|iv|v)"
_TWO_NUMBERS = re.compile(
    rf"(?<!\w){_NUMBER}\.?\s*(?:[,&+/.\-–]|\bet\b|\band\b|\bund\b|\be\b|\by\b|\s)\s*{_NUMBER}(?!\w)"
)
_ONE_NUMBER = re.compile(rf"(?<!\w){_NUMBER}(?!\w)")
_COUNT_BEFORE = re.compile(r"^\s*[2-9]\s+\w")
_COUNT_AFTER = re.compile(r"[(\[]\s*(?:x\s*)?[2-9]\s*[)\]]|\bx\s*[2-9]\s*$")


def name_tells(name: str) -> str:
    """What a part's name tells: 'several' players, 'numbered' or 'plain' for one, '' for no name."""
    text = " ".join(unicodedata.normalize("NFC", name).casefold().split())
    if not text:
        return ""
    names = word_tables()["names"]
    tokens = re.findall(r"\w+", text)
    if any(token.endswith(tuple(names["plural"])) for token in tokens) or set(tokens[:1]) & set(names["counts"]):
        return SEVERAL
    if _TWO_NUMBERS.search(text) or _COUNT_BEFORE.search(text) or _COUNT_AFTER.search(text):
        return SEVERAL
    return NUMBERED if _ONE_NUMBER.search(text) else PLAIN


def tells_section(name: str) -> bool:
    """Whether the name of any part tells of several players: 'Horns in F', 'Violini I', 'Clarinet 1.2'."""
    tokens = set(re.findall(r"\w+", unicodedata.normalize("NFC", name).casefold()))
    return bool(tokens & set(word_tables()["names"]["sections"])) or name_tells(name) == SEVERAL
