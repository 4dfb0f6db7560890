"""Run every example: `python examples/run.py` compares, `--update` stores what comes out now.

Each folder holds an input, `command.txt` with one command line per line, and what these lines leave: files of the name given
after -o, and `report.txt`, all that was printed. The scenario is invented: a quintet called Breakwater rehearses pieces
that do not exist."""

import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
_NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?")
_BUSY = re.compile(r"^ventwise: at work for .*\n", re.MULTILINE)
"""What is told while a command takes long, which is a matter of the machine."""


def folders() -> list[Path]:
    """The example folders, by name."""
    return sorted(path.parent for path in HERE.glob("*/command.txt"))


def run(folder: Path, work: Path) -> None:
    """Run a folder's commands in a copy of its input in `work`, leaving the outputs and report.txt there."""
    for item in folder.iterdir():
        if item.name in inputs(folder):
            shutil.copy(item, work / item.name)
    printed = []
    for line in (folder / "command.txt").read_text(encoding="utf-8").splitlines():
        code, out, err = ran(shlex.split(line)[1:], work)
        printed.append(f"$ {line}\n{out}{_BUSY.sub('', err)}(exit {code})\n")
    (work / "report.txt").write_text("\n".join(printed), encoding="utf-8")


def ran(words: list[str], work: Path) -> tuple[int, str, str]:
    """Run the command in a folder: its exit status, and what it prints on both streams."""
    command = [sys.executable, "-c", "from annotate.cli import main; main()", *words]
    plain = os.environ | {"PYTHONUTF8": "1", "VENTWISE_DATA": ""}
    done = subprocess.run(command, cwd=work, capture_output=True, encoding="utf-8", check=False, env=plain)
    return done.returncode, done.stdout, done.stderr


def inputs(folder: Path) -> set[str]:
    """Files that the commands read and none of them writes."""
    words = [shlex.split(line) for line in (folder / "command.txt").read_text(encoding="utf-8").splitlines()]
    written = {line[line.index("-o") + 1] for line in words if "-o" in line}
    return {item.name for item in folder.iterdir()} - written - {"command.txt", "report.txt"}


def differences(stored: str, now: str) -> list[str]:
    """Lines that differ by more than the last digit of a number."""
    old, new = stored.splitlines(), now.splitlines()
    if len(old) != len(new):
        return [f"{len(old)} lines stored, {len(new)} now"]
    return [f"{one!r} is now {two!r}" for one, two in zip(old, new, strict=True) if not _alike(one, two)]


def _alike(one: str, two: str) -> bool:
    if re.sub(r"\s+", " ", _NUMBER.sub("0", one)) != re.sub(r"\s+", " ", _NUMBER.sub("0", two)):
        return False
    pairs = zip(_NUMBER.findall(one), _NUMBER.findall(two), strict=True)
    return all(abs(float(a) - float(b)) <= (0.021 if "." in a else 1.0) for a, b in pairs)


def main() -> int:
    update = "--update" in sys.argv[1:]
    changed = 0
    for folder in folders():
        with tempfile.TemporaryDirectory() as name:
            work = Path(name)
            run(folder, work)
            for item in sorted(work.iterdir()):
                if item.name in inputs(folder) or item.is_dir():  # of a pack only pictures are stored
                    continue
                if update:
                    shutil.copy(item, folder / item.name)
                elif item.suffix != ".mxl":
                    stored = (folder / item.name).read_text(encoding="utf-8")
                    for line in differences(stored, item.read_text(encoding="utf-8")):
                        changed += 1
                        print(f"{folder.name}/{item.name}: {line}")
    return 1 if changed else 0


if __name__ == "__main__":
    sys.exit(main())
