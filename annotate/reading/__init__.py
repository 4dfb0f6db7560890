"""Reading: the bytes of a MusicXML score to parts, events and directions with their place in those bytes."""
