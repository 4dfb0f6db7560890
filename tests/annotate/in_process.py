"""The command in the process of a test: the same entry as the installed one, without the start of Python and all imports."""

import signal
import sys

import pytest

from annotate import cli


def run_here(
    words: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> tuple[int, str, str]:
    """Run the command; gives exit status, stdout, stderr."""
    monkeypatch.setattr(sys, "argv", ["ventwise", *words])
    monkeypatch.setattr(sys, "warnoptions", ["error"])  # a warning is a fault here, and not to be kept from us
    capsys.readouterr()
    taken = {one: signal.getsignal(one) for one in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)}
    try:
        with pytest.raises(SystemExit) as left:
            cli.main()
    finally:  # at its end a run ignores signals; what later tests start would inherit that
        for one, handler in taken.items():
            signal.signal(one, handler)
    told = capsys.readouterr()
    assert isinstance(left.value.code, int)
    return left.value.code, told.out, told.err
