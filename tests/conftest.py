"""For all tests: no signs of life on stderr, which a busy machine would bring into what is compared."""

import os
import signal
from pathlib import Path

os.environ["VENTWISE_QUIET"] = "1"
# No test reads or writes the log of whoever runs it.
os.environ["VENTWISE_DATA"] = ""
os.environ.pop("VENTWISE_PLAYER", None)
# What the tests start, some hundred times, need not be compiled each time.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
os.environ["PYTHONPYCACHEPREFIX"] = str(Path(__file__).parent.parent / ".pytest_cache/compiled")
# Where a shell starts the tests in its background, interrupts are ignored, and so they would be by what the tests start.
if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
