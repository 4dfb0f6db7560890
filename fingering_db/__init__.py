"""What a flute can do: acoustics, keys, fingers, search. Knows nothing of scores."""
