"""Draws a MusicXML file with Verovio and tells what came out, as JSON: python ask_verovio.py IN OUT. In a process of its
own, because its warnings go to the process's standard error."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import verovio
from lxml import etree

verovio.enableLog(verovio.LOG_WARNING)
toolkit = verovio.toolkit()
toolkit.setInputFrom("xml")
if not toolkit.loadData(Path(sys.argv[1]).read_bytes().decode("utf-8-sig")):
    sys.exit("error: not loaded")
texts = []
for number in range(1, toolkit.getPageCount() + 1):
    page = etree.fromstring(toolkit.renderToSVG(number).encode())
    for line in page.iterfind(".//{*}tspan[@class='text']"):
        texts.append("".join(str(each) for each in line.itertext()))
notes = sum(len(event.get("on", [])) for event in toolkit.renderToTimemap())
told = {"texts": texts, "midi": toolkit.renderToMIDI(), "notes": notes}
Path(sys.argv[2]).write_text(json.dumps(told), encoding="utf-8")
