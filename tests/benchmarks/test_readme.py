"""Tables get into the README, each into its own place."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from readme import README, filled


@pytest.mark.parametrize(
    "name", ["attack", "benchmarks", "catalogue", "corpus", "dyads", "evidence", "programs", "readings"]
)
def test_a_table_stands_between_its_marks_in_the_readme_and_is_replaced_the_next_time(name: str) -> None:
    text = README.read_text(encoding="utf-8")
    once = filled(text, name, "| one |")
    assert f"<!-- {name} -->\n\n| one |\n\n<!-- end {name} -->" in once
    assert filled(once, name, "| two |") == filled(text, name, "| two |")
    before, after = (text.split(f"<!-- {mark}{name} -->") for mark in ("", "end "))
    assert (once.startswith(before[0]), once.endswith(after[1])) == (True, True)


def test_a_readme_without_the_marks_is_told() -> None:
    with pytest.raises(ValueError, match="expected <!-- benchmarks -->"):
        filled("nothing", "benchmarks", "| one |")
