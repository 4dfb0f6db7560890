"""One file per technique: from a part to what it asks of the flute."""
