"""Where the installed command begins: so little that a run which is stopped while it imports ends without a traceback."""


def main() -> None:
    """Run the command line."""
    try:
        from annotate.cli import main as run  # noqa: PLC0415 - the import may be what is stopped

        run()
    except KeyboardInterrupt:
        import os  # noqa: PLC0415

        try:
            os.write(2, b"ventwise: interrupted: nothing was written\n")
        except OSError:
            pass  # nobody is there to be told
        raise SystemExit(2) from None
