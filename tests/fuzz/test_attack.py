"""A short part of every class of the attack; `python tests/fuzz/attack.py` is the campaign."""

import os

import attack
import pytest

SHORT = {"archive": 25, "cache": 60, "flute": 41, "kill": 1, "signal": 2, "output": 3, "log": 15}


@pytest.mark.skipif(os.name != "posix", reason="signals and descriptors as POSIX has them")
@pytest.mark.parametrize("name", SHORT)
def test_an_attack_leaves_no_traceback_no_hang_no_loss_and_nothing_behind(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    tally = attack.run(name, SHORT[name], begin=1)
    with capsys.disabled():
        print(f"\n{tally.line()}")
    assert tally.cases == SHORT[name] and tally.failed == []


def test_every_class_is_in_the_campaign_and_its_figures_into_the_table() -> None:
    assert attack.CAMPAIGN.keys() == attack.CLASSES.keys()
    tally = attack.Tally("cache")
    tally.add(1, "hang", "a pipe")
    tally.add(2, "right")
    again = attack.gathered([tally.line(), "cache 1: hang: a pipe", tally.line()])
    assert [(one.name, one.cases, one.outcomes["hang"]) for one in again] == [("cache", 4, 2)]
    made = attack.table([tally])
    assert "| cache | 2 | 0 | 1 | 0 | 0 |" in made and tally.failed == ["cache 1: hang: a pipe"]


def test_a_loss_and_an_orphan_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fingering_db.store._is_whole", lambda *_: True)
    assert attack.run("cache", 40).outcomes["bytes lost"] > 0
    spoiled = (
        "import annotate.files.placing as p\np.Ready.place = lambda self: self.neighbour.write_bytes(b'') and None"
    )
    monkeypatch.setattr(attack, "BEFORE", spoiled)
    assert attack.run("output", 1).failed
