"""Acoustics of tubes and holes: arrays in, arrays out, SI units. No keys, no fingers."""
