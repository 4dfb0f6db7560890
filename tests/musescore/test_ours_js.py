"""The plug-in takes out the same texts as `strip`: its grammar is ours, in a language that MuseScore runs."""

import json
import random
import shutil
import subprocess

import pytest

from annotate.drawing import diagram
from annotate.files.own_marks import SIGNATURE
from annotate.files.own_rows import are_ours
from annotate.language import languages, words
from annotate.musescore.plugin import plug_in
from annotate.wording import legend
from fingering_db.instrument import load
from fingering_db.mechanism import reach

VALUES = {"touch": "E♭", "touches": "2o 3 | E♭", "pitch": "C♯5", "list": "C5 +12, D6 -7", "note": "mult."}
VALUES |= dict.fromkeys(("start", "end", "n", "cents"), "12")
ASK = """
var lines = require("fs").readFileSync(0, "utf8").split("\\n")
console.log(JSON.stringify(JSON.parse(lines[0]).map(function (text) { return areOurs(wordsOf(text)) })))
"""


def rows() -> list[str]:
    """Rows as they are written, in every language, and columns of many fingerings."""
    every = reach(load("open-hole-b"))
    chosen = [every.fingering(number) for number in random.Random(5).sample(range(len(every.placements)), 40)]
    found = [row for one in chosen for row in (*diagram.rows(one), *diagram.columns(one), diagram.line(one, False))]
    for language in languages():
        found += [words(language).text(f"note.{key}", **VALUES) for key in words(language).tables["note"]]
        found += legend(chosen, language, statuses=("doubtful", "unplayable"), numbered=True, gliding=True)
    return found


def changed(row: str, chance: random.Random) -> str:
    """As a user may have changed it: a word or a letter more, one less."""
    at = chance.randrange(len(row) + 1)
    return chance.choice([row[:at] + chance.choice("aé7.♯ (") + row[at:], row[:at] + row[at + 1 :], f"{row} solo"])


@pytest.mark.skipif(shutil.which("node") is None, reason="needs node")
def test_the_plug_in_and_strip_agree_on_every_text(tmp_path):
    chance, own = random.Random(7), rows()
    texts = [f"{SIGNATURE}{row}{SIGNATURE}" for row in own]
    texts += [f"{SIGNATURE}{changed(row, chance)}{SIGNATURE}" for row in own]
    texts += [f"{row}{SIGNATURE}" for row in own] + [f"{changed(row, chance)}{SIGNATURE}" for row in own]
    texts += ["\n".join(chance.sample(texts, 4)) for _ in range(200)]
    texts += ["", SIGNATURE, SIGNATURE * 2, "solo", f"{SIGNATURE}dolce{SIGNATURE}", f"{texts[0]} dolce {texts[1]}"]
    script = tmp_path / "ask.js"
    script.write_text(plug_in("ventwise")["ours.js"] + ASK, encoding="utf-8")
    told = [text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;") for text in texts]
    done = subprocess.run(
        ["node", script], input=json.dumps(told), capture_output=True, encoding="utf-8", check=True, timeout=60
    )
    theirs, ours = json.loads(done.stdout), list(map(are_ours, texts))
    assert [text for text, one, two in zip(texts, theirs, ours, strict=True) if one != two] == []
    assert 0.3 < sum(ours) / len(ours) < 0.9
