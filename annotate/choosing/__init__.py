"""From a demand to a decision: status, fingering, reason, what could be played instead."""
