"""Findings about what had to be mended to read the bytes of a score as text."""

from __future__ import annotations

from annotate.files.encoding import TextForm
from annotate.findings import Finding
from annotate.reading import codes

_ADVICE = "Save the score again from your notation program."
_NAMES = {"utf-8": "UTF-8", "iso8859-1": "ISO-8859-1", "utf-16-le": "UTF-16", "utf-16-be": "UTF-16"}


def repairs(data: bytes, form: TextForm) -> tuple[Finding, ...]:
    """What is wrong with the bytes `data` of the file, whose form is `form`, as warnings."""
    found: list[Finding] = []
    if form.start:
        blank = not data[: form.start].strip()
        what = "blank space" if blank else f"{form.start} bytes that do not belong to the score"
        message = f"{what} before the beginning of the XML: skipped in reading"
        found.append(Finding(codes.JUNK_BEFORE_XML, "warning", None, message, _ADVICE))
    if form.contradicted:
        actual = _NAMES[form.encoding]
        message = f"the file declares the encoding {form.declared} but is written in {actual}: read as {actual}"
        found.append(Finding(codes.ENCODING_CONTRADICTED, "warning", None, message, _ADVICE))
    if form.broken_at >= 0:
        message = f"the file is declared or taken as UTF-8 but byte {form.broken_at} is not: read as ISO-8859-1"
        advice = "Check accented letters, and save the score again as UTF-8."
        found.append(Finding(codes.ENCODING_BROKEN, "warning", None, message, advice))
    return tuple(found)
