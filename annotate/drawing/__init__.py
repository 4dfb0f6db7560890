"""Fingerings and paths drawn, as rows of signs and as pictures."""
