"""Codes of the findings of this stage; what each means stands in the table [explain] of every language."""

CODES = ("R201", "R203", "R204", "R205", "R206", "R207", "R208", "G201", "G202", "G203", "G204", "G205", "G206")
