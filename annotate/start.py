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
                os.write(2, b"ventwise: interrupted: nothing was written\n")
            finally:
                os._exit(2)

        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)
            if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, stop)
        from annotate.cli import main as run  # noqa: PLC0415 - after signals are taken
    except KeyboardInterrupt:
        os.write(2, b"ventwise: interrupted: nothing was written\n")
        raise SystemExit(2) from None
    run()
