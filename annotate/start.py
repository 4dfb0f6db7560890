"""Where the installed command begins: so little that a run which is stopped while it imports ends without a traceback."""


def main() -> None:
    """Run the command line."""
    try:
        from annotate.cli import main as run  # noqa: PLC0415 - the import may be what is stopped

        run()
    except KeyboardInterrupt:
        import contextlib  # noqa: PLC0415
        import os  # noqa: PLC0415

        with contextlib.suppress(OSError):  # nobody is there to be told
            os.write(2, b"ventwise: interrupted: nothing was written\n")
        raise SystemExit(2) from None
