"""All that a flute can do at once, as a score, tables, maps and a page."""
