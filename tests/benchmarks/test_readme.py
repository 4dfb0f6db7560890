"""The table of the benchmarks gets into the README."""

import importlib.util
from pathlib import Path

import pytest

HERE = Path(__file__).parent
_spec = importlib.util.spec_from_file_location("benchmarks_run", HERE / "run.py")
assert _spec is not None and _spec.loader is not None
run = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(run)


def test_the_table_stands_between_the_marks_of_the_readme_and_is_replaced_the_next_time() -> None:
    text = run.README.read_text(encoding="utf-8")
    once = run.filled(text, "| one |")
    assert "<!-- benchmarks -->\n\n| one |\n\n<!-- end -->" in once
    assert run.filled(once, "| two |") == run.filled(text, "| two |")
    assert once.split("<!-- benchmarks -->")[0] == text.split("<!-- benchmarks -->")[0]
    assert once.split("<!-- end -->")[1] == text.split("<!-- end -->")[1]


def test_a_readme_without_the_marks_is_told() -> None:
    with pytest.raises(ValueError, match="expected <!-- benchmarks -->"):
        run.filled("nothing", "| one |")
