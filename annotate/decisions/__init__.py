"""What players and composers have decided, kept in a file beside the score: read by every run, never written by one."""
