"""What the acoustic tests share. Scripts that make references live in tests/references."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent.parent / "references"))

from fingering_db.instrument import Instrument, load
from fingering_db.mechanism import Reach, reach
from fingering_db.model import Model, model
from fingering_db.sounding import Flute


@pytest.fixture(scope="session")
def open_hole() -> Instrument:
    return load("open-hole-b")


@pytest.fixture(scope="session")
def flute(open_hole: Instrument) -> Flute:
    return Flute(open_hole)


@pytest.fixture(scope="session")
def every(open_hole: Instrument) -> Reach:
    return reach(open_hole)


@pytest.fixture(scope="session")
def made(open_hole: Instrument) -> Model:
    # What was computed by the code as it is may be in the cache folder from a run before.
    return model(open_hole)


@pytest.fixture
def random() -> np.random.Generator:
    return np.random.default_rng(20240607)
