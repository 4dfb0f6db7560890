"""Findings about what had to be mended to read the bytes of a score as text."""

from annotate.files.encoding import TextForm
from annotate.findings import Finding
from annotate.reading import codes
from fingering_db.message import Message

_ADVICE = Message("reading.save_again")
_NAMES = {"utf-8": "UTF-8", "iso8859-1": "ISO-8859-1", "utf-16-le": "UTF-16", "utf-16-be": "UTF-16"}


def repairs(data: bytes, form: TextForm) -> tuple[Finding, ...]:
    """What is wrong with the bytes `data` of the file, whose form is `form`, as warnings."""
    found: list[Finding] = []
    if form.start:
        blank = not data[: form.start].strip()
        what = Message("reading.blank_space") if blank else Message("reading.foreign_bytes", n=form.start)
        message = Message("reading.before_the_xml", what=what)
        found.append(Finding(codes.JUNK_BEFORE_XML, "warning", None, message, _ADVICE))
    if form.contradicted:
        actual = _NAMES[form.encoding]
        message = Message("reading.other_encoding", declared=form.declared, actual=actual)
        found.append(Finding(codes.ENCODING_CONTRADICTED, "warning", None, message, _ADVICE))
    if form.broken_at >= 0:
        message = Message("reading.not_utf8", byte=form.broken_at)
        advice = Message("reading.check_letters")
        found.append(Finding(codes.ENCODING_BROKEN, "warning", None, message, advice))
    return tuple(found)
