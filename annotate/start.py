"""Where the installed command begins: signals are taken before anything heavy is imported, so that a run which is stopped while
it imports ends in one line. (Stopped before Python calls this, it is Python that speaks.)"""


def main() -> None:
    """Run the command line."""
    import os  # noqa: PLC0415 - Python has it already

    try:
        import signal  # noqa: PLC0415 - the import may be what is stopped

        def stop(_number: int, _frame: object) -> None:
            # No exception: in the midst of an import it may be swallowed, or printed by Python and forgotten. Nothing is begun
            # yet that would have to be taken back.
            try:
                os.write(2, _stopped())
            finally:
                os._exit(2)

        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)
            if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, stop)
        from annotate.cli import main as run  # noqa: PLC0415 - after signals are taken
    except KeyboardInterrupt:
        os.write(2, _stopped())
        raise SystemExit(2) from None
    run()


def _stopped() -> bytes:
    """The line of a run that is stopped here, taken from the file of its language without importing anything."""
    import os  # noqa: PLC0415 - Python has both already
    import sys  # noqa: PLC0415

    options = [word.removeprefix("--language=") for word in sys.argv if word.startswith("--language=")]
    options += [after for word, after in zip(sys.argv, sys.argv[1:], strict=False) if word == "--language"]
    told = b"interrupted: nothing was written"
    for language in (os.environ.get("VENTWISE_LANGUAGE", ""), *options):
        try:
            path = os.path.join(os.path.dirname(__file__), "languages", language + ".toml")  # noqa: PTH118, PTH120
            with open(path if language.isalpha() else os.devnull, "rb") as file:  # noqa: PTH123
                told = file.read().partition(b'\nnot_begun = "')[2].partition(b'"')[0] or told
        except OSError:
            continue
    return b"ventwise: " + told + b"\n"
