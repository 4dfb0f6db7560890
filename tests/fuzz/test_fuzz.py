"""Any small score, and any broken one, is marked with every promise kept or refused in one line.

A few examples at each run; `python tests/fuzz/campaign.py --files 20000` is the long version. What a campaign found stands
in tests/cases/fuzz, one file for each fault.
"""

import tempfile
from pathlib import Path
from random import Random

import pytest
from check import ACCEPTED, REFUSED, Broken, TooLongError, Verdict, invented_search, judge, time_limit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from mutate import MUTATIONS, mutated
from strategies import Made, scores

from annotate import pipeline
from annotate.files.writing import CARRIERS

CASES = sorted((Path(__file__).parents[1] / "cases/fuzz").glob("*"))
DIAGRAMS = st.sampled_from(["changes", "every", "first"])
LIMIT_S = 20.0  # processor time for one file; most take a few hundredths of a second
quickly = settings(deadline=None, suppress_health_check=list(HealthCheck), derandomize=True, database=None)


def verdict(made: Made, carrier: str = CARRIERS[0], diagrams: str = "changes") -> Verdict:
    with tempfile.TemporaryDirectory() as name, time_limit(LIMIT_S), invented_search():
        path = Path(name) / f"fuzzed{made.suffix}"
        path.write_bytes(made.data)
        return judge(path, carrier=carrier, diagrams=diagrams)


@settings(quickly, max_examples=20)
@given(scores(), st.sampled_from(CARRIERS), DIAGRAMS)
def test_a_valid_score_is_accepted_and_every_promise_kept(made: Made, carrier: str, diagrams: str) -> None:
    assert verdict(made, carrier, diagrams).outcome == ACCEPTED


@settings(quickly, max_examples=40)
@given(scores(), st.integers(0, 2**32), st.sampled_from(CARRIERS), DIAGRAMS)
def test_a_broken_score_is_accepted_or_refused_in_one_line(made: Made, seed: int, carrier: str, diagrams: str) -> None:
    assert verdict(mutated(made, Random(seed)), carrier, diagrams).outcome in (ACCEPTED, REFUSED)


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.name)
def test_what_was_once_found_stays_mended(path: Path) -> None:
    for carrier in CARRIERS:
        assert verdict(Made(path.read_bytes(), path.suffix), carrier, "every").outcome in (ACCEPTED, REFUSED)


@settings(quickly, max_examples=3)
@given(scores())
def test_with_the_real_search_promises_are_kept_too(made: Made) -> None:
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / f"fuzzed{made.suffix}"
        path.write_bytes(made.data)
        assert judge(path).outcome == ACCEPTED


def test_the_scores_drawn_are_marked_often_enough_to_tell_something() -> None:
    marks: list[bool] = []

    @settings(quickly, max_examples=12)
    @given(scores())
    def draw(made: Made) -> None:
        marks.append(verdict(made).marks)

    draw()
    assert sum(marks) > len(marks) / 2


@pytest.mark.parametrize("mutation", sorted(set(MUTATIONS), key=lambda each: each.__name__))
def test_every_mutation_breaks_something_and_by_the_same_seed_the_same(mutation: object) -> None:
    assert callable(mutation)
    notes = b"<note><chord/><voice>1</voice><slide type='start' number='1'/></note><note>\xc3\xa9</note><note><rest/></note>"
    data = (
        b'<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="3.1">\n'
        b'<a b="c">d</a><e>f</e><part id="P1">' + notes + b"</part></score-partwise>"
    )
    made = [mutation(data, Random(seed)) for seed in range(20)]
    assert any(each != data for each in made)
    assert made == [mutation(data, Random(seed)) for seed in range(20)]


def test_a_broken_promise_a_fault_and_a_hang_are_seen(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The judge itself is put on trial: what it is to see is made to happen."""
    case = Path(__file__).parents[2] / "examples/composer/low-water.musicxml"
    made = Made(case.read_bytes(), case.suffix)
    assert verdict(made).marks
    with monkeypatch.context() as patch:
        patch.setattr("annotate.forms.splice", lambda data, *_: data.replace(b"Low", b"High"))
        with pytest.raises(Broken, match="original"):
            verdict(made)
    with monkeypatch.context() as patch:
        patch.setattr(pipeline, "mark_parts", lambda *_: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            verdict(made)

    def endless() -> None:
        while True:
            pass

    with pytest.raises(TooLongError), time_limit(0.05):
        endless()
