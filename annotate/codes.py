"""Every code of a finding. What each means stands in the table [explain] of every language."""

from annotate import marking
from annotate.choosing import codes as choosing
from annotate.decisions import rulings as decisions
from annotate.detecting import codes as detecting
from annotate.reading import codes as reading

CODES: tuple[str, ...] = tuple(
    sorted({*reading.CODES, *detecting.CODES, *choosing.CODES, *decisions.CODES, *marking.CODES})
)
