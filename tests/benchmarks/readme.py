"""The tables of the README: each stands between two marks that name it, and the script that makes it puts it there."""

import re
import sys
from pathlib import Path

README = Path(__file__).parents[2] / "README.md"


def filled(text: str, name: str, made: str) -> str:
    """The text with what was made between its two marks, whatever stood there. Raises ValueError where they do not stand once."""
    marked = re.compile(rf"(<!-- {name} -->\n).*?(<!-- end {name} -->)", re.DOTALL)
    if len(marked.findall(text)) != 1:
        raise ValueError(f"README: expected <!-- {name} --> and <!-- end {name} --> once")
    return marked.sub(lambda found: f"{found[1]}\n{made.strip()}\n\n{found[2]}", text)


def put_if_asked(**made: str) -> None:
    """With --readme on the command line: each of these into its place."""
    if "--readme" in sys.argv[1:]:
        text = README.read_text(encoding="utf-8")
        for name, table in made.items():
            text = filled(text, name, table)
        README.write_text(text, encoding="utf-8")
