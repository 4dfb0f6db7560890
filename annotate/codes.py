"""Every code of a finding and what it means, for `ventwise explain`."""

from __future__ import annotations

from annotate import marking
from annotate.choosing import codes as choosing
from annotate.detecting import codes as detecting
from annotate.reading import codes as reading

CODES: dict[str, str] = {**reading.CODES, **detecting.CODES, **choosing.CODES, **marking.CODES}
