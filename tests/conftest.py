"""For all tests: no signs of life on stderr, which a busy machine would bring into what is compared."""

import os

os.environ["VENTWISE_QUIET"] = "1"
