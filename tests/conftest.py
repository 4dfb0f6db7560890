"""For all tests: no signs of life on stderr, which a busy machine would bring into what is compared."""

import os

os.environ["VENTWISE_QUIET"] = "1"
# No test reads or writes the log of whoever runs it.
os.environ["VENTWISE_DATA"] = ""
os.environ.pop("VENTWISE_PLAYER", None)
