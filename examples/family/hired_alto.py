"""Makes hired-alto.toml, the shipped alto without the levers of its trill keys."""

from pathlib import Path

from msgspec.structs import replace

from fingering_db.instrument import load
from fingering_db.instrument_text import as_toml

ABOUT = "Invented: an alto flute that Breakwater hired. Made by hired_alto.py from the shipped alto, less certain as that is."

if __name__ == "__main__":
    alto = load("alto")
    fingers = tuple(
        replace(one, placements=tuple(own for own in one.placements if not own.touch.startswith("tr")))
        for one in alto.fingers
    )
    hired = replace(alto, name="hired-alto", title="alto flute in G without trill keys", remark="", fingers=fingers)
    Path(__file__).with_name("hired-alto.toml").write_text(as_toml(hired, ABOUT), encoding="utf-8")
