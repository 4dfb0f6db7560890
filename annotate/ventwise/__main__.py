"""`python -m ventwise`: the command line."""

from annotate.start import main

main()
