"""What trials make of the model's confidence and of the order of what is found."""

import numpy as np
import pytest
from scipy import integrate, stats

from fingering_db.experienced import experienced
from fingering_db.fingering import Fingering
from fingering_db.model import Model, acoustic_fingerprint
from fingering_db.pitch import Pitch
from fingering_db.ranking import Found, find
from fingering_db.trials import MODEL_TRIALS, Experience, Trial, Tried

C5_D6 = (Pitch.parse("C5"), Pitch.parse("D6"))


def trial(
    text: str, worked: bool, player: str = "", flute: str = "open-hole-b", pitches: tuple[Pitch, ...] = C5_D6
) -> Trial:
    return Trial("x", "", player, flute, "", Fingering.parse(text), pitches, worked)


def knows(of: Model, *tried: Trial) -> Experience:
    return Experience(tried, "", of.instrument.name, acoustic_fingerprint(of.instrument))


@pytest.fixture(scope="module")
def found(made: Model) -> Found:
    return find(made, C5_D6, 30.0, limit=12)


def test_the_mean_after_trials_is_that_of_bayes_by_integration() -> None:
    c, tried = 0.3, Tried(worked=2, failed=1)

    def posterior(p: float) -> float:
        likely = p**tried.worked * (1.0 - p) ** tried.failed
        return float(stats.beta.pdf(p, MODEL_TRIALS * c, MODEL_TRIALS * (1.0 - c)) * likely)

    whole, mean = (integrate.quad(lambda p, k=k: p**k * posterior(p), 0.0, 1.0)[0] for k in (0, 1))
    assert tried.confidence(c) == pytest.approx(mean / whole, rel=1e-4)


@pytest.mark.parametrize("c", [0.0, 0.2, 0.9])
def test_trials_of_ones_own_outweigh_the_model_and_those_of_others_weigh_less(c: float) -> None:
    assert Tried().confidence(c) == c
    assert Tried(worked=1).confidence(c) >= 0.5 and Tried(failed=1).confidence(c) <= 0.5
    assert Tried(failed=2).confidence(c) == pytest.approx(c / 3.0)
    own, other = Tried(worked=1).confidence(c), Tried(others_worked=1).confidence(c)
    assert c < other < own
    assert Tried(others_worked=3).confidence(c) == pytest.approx(Tried(worked=1).confidence(c))  # a third each


def test_without_trials_for_these_pitches_nothing_changes(made: Model, found: Found) -> None:
    others = knows(made, trial("T 2 3 | Eb", False, pitches=(C5_D6[0],)))
    assert experienced(made, found, C5_D6, 440.0, others) is found
    assert experienced(made, found, C5_D6, 440.0, Experience()) is found


def test_what_worked_comes_first_whether_the_model_found_it_or_not(made: Model, found: Found) -> None:
    last, unheard = found.best[-1], "T 1 2 | Eb"
    after = experienced(made, found, C5_D6, 440.0, knows(made, trial(str(last.fingering), True), trial(unheard, True)))
    first = {str(one.fingering): one for one in after.best[:2]}
    assert set(first) == {str(last.fingering), unheard}
    again = first[str(last.fingering)]
    assert again.tried == Tried(worked=1) and again.by_model == last.confidence
    assert again.confidence == pytest.approx((last.confidence + 1.0) / 2.0)
    assert first[unheard].by_model == 0.0 and first[unheard].worst_cents > 100.0
    assert [one.fingering for one in after.best[2:]] == [one.fingering for one in found.best[:-1]]


def test_what_failed_is_left_out_and_kept_to_be_told(made: Model, found: Found) -> None:
    best = found.best[0]
    after = experienced(made, found, C5_D6, 440.0, knows(made, trial(str(best.fingering), False)))
    assert best.fingering not in {one.fingering for one in after.best}
    assert [one.fingering for one in after.failed] == [best.fingering]
    mended = knows(made, trial(str(best.fingering), False), *[trial(str(best.fingering), True)] * 2)
    assert experienced(made, found, C5_D6, 440.0, mended).best[0].fingering == best.fingering


def test_others_and_other_flutes_change_the_confidence_alone(made: Model, found: Found) -> None:
    best = str(found.best[0].fingering)
    for told in (trial(best, False, player="kim"), trial(best, False, flute="hers")):
        after = experienced(made, found, C5_D6, 440.0, knows(made, told))
        (same,) = [one for one in after.best if str(one.fingering) == best]
        assert not after.failed
        assert same.tried == Tried(others_failed=1) and same.confidence < found.best[0].confidence
    worked = experienced(made, found, C5_D6, 440.0, knows(made, trial("T 1 2 | Eb", True, player="kim")))
    assert "T 1 2 | Eb" not in {str(one.fingering) for one in worked.best}


def test_pitches_within_a_quarter_tone_and_none_at_all_count(made: Model, found: Found) -> None:
    same = knows(made, trial("T 2 3 | 1 2 3", False))
    (place,) = same.about(C5_D6, made.instrument)
    assert place in same.about((Pitch.parse("C5+40"), Pitch.parse("D6-45")), made.instrument)
    assert not same.about((Pitch.parse("C5"), Pitch.parse("D6+60")), made.instrument)
    any_pitch = knows(made, trial("T 2 3 | Eb", False, pitches=()))
    assert any_pitch.about((Pitch.parse("A5"),), made.instrument)
    assert not knows(made, trial("T 2v | Eb", False)).about(C5_D6, made.instrument)  # no vent here
    assert np.isfinite(found.best[0].confidence)
