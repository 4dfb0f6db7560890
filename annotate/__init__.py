"""What a score asks of a flute, and what is written back into it."""
