"""Draws a MusicXML file with Verovio, each page as SVG with the boxes of what is on it: python draw_verovio.py IN OUT. In a
process of its own, because its warnings go to the process's standard error."""

from __future__ import annotations

import sys
from pathlib import Path

import verovio

toolkit = verovio.toolkit()
toolkit.setInputFrom("xml")
toolkit.setOptions({"svgBoundingBoxes": True, "svgRemoveXlink": True})
if not toolkit.loadData(Path(sys.argv[1]).read_bytes().decode("utf-8-sig")):
    sys.exit("error: not loaded")
for number in range(1, toolkit.getPageCount() + 1):
    Path(f"{sys.argv[2]}-{number}.svg").write_text(toolkit.renderToSVG(number), encoding="utf-8")
