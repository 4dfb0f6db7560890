"""One model of the result, rendered as text and JSON."""
