"""Kill a command at each of its writes: ``python tests/hostile/kills.py``.

A command runs in a process whose writing calls (`os.open` for writing, `os.write`, file writes,
`os.fsync`, `os.replace`, `os.rename`, `os.unlink`, `os.mkdir`, `os.fchmod`, `os.link`) are counted
through Python's audit events and wrappers; at the n-th it kills itself with SIGKILL, before the
call or after it. For n = 1, 2, 3 … until the command ends by itself. After each kill every file is
the old one or the new one, whole; what `learn` writes belongs together; and the same command, run
again, ends well and leaves nothing behind.
"""

from __future__ import annotations

import argparse
import json
import shutil
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from hostile.bench import RECIPE, prepare

__all__ = ["WRITING", "kills"]

WRITING: dict[str, tuple[str, ...]] = {
    "adjust": ("adjust", RECIPE, "--target", "38,-18,9", "--reading", "40,-8,31", "--keep-reading"),
    "bottle": ("bottle", "marigold, 6:1, 3 coats over white", "--reading", "{reading}", "--apply"),
    "take": ("take", "{place}/lab.txt"),
    "learn": ("learn",),
    "new": ("new", "{place}/new"),
    "demo": ("new", "{place}/demo", "--demo"),
    "sheet": ("sheet", RECIPE, "-o", "{place}/out.html"),
}

# In the child: count each call that changes the disk, and die at the one that was asked for.
_CHILD = """
import builtins, io, os, signal, sys
wanted, after = int(sys.argv[1]), sys.argv[2] == "after"
count = 0
def counted(call):
    def called(*args, **kwargs):
        global count
        count += 1
        if count == wanted and not after:
            os.kill(os.getpid(), signal.SIGKILL)
        result = call(*args, **kwargs)
        if count == wanted and after:
            os.kill(os.getpid(), signal.SIGKILL)
        return result
    return called
import pathlib, shutil, tempfile
from fewtone.cli.main import main
import fewtone.io.atomic
real_open, real_fdopen = os.open, os.fdopen
NAMES = "fsync replace rename unlink remove mkdir rmdir fchmod fchown link write"
for name in NAMES.split():
    setattr(os, name, counted(getattr(os, name)))
def opened(path, flags, *args, **kwargs):
    call = counted(real_open) if flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT) else real_open
    return call(path, flags, *args, **kwargs)
os.open = opened
class Counted:
    def __init__(self, file): self.file = file
    def write(self, data):
        half = len(data) // 2  # torn in the middle too
        counted(self.file.write)(data[:half]); self.file.flush()
        return counted(self.file.write)(data[half:])
    def __getattr__(self, name): return getattr(self.file, name)
    def __enter__(self): self.file.__enter__(); return self
    def __exit__(self, *args): return self.file.__exit__(*args)
def fdopened(fd, mode="r", *args, **kwargs):
    file = real_fdopen(fd, mode, *args, **kwargs)
    return Counted(file) if "w" in mode else file
os.fdopen = fdopened
sys.stdout = open(os.devnull, "w")
try:
    main(sys.argv[3:])
finally:
    sys.stderr.write(f"count {count}\\n")
"""


def kills(command: str, bench: Path, *, most: int = 1000, step: int = 1) -> tuple[int, list[str]]:
    """Kill a command at each `step`-th of its writes; return how often, and what was wrong."""
    wrong: list[str] = []
    done = 0
    new = _run(command, bench, 0, "before")[1]
    for when in ("before", "after"):
        for number in range(1, most + 1, step):
            place = bench / "kill"
            code, files = _run(command, bench, number, when)
            if code != -signal.SIGKILL:
                break
            done += 1
            wrong += [
                f"{command} {when} {number}: {said}" for said in _whole(files, bench, new, place)
            ]
            code, files = _run(command, bench, 0, "before", place)
            if code not in (0, 1, 2):
                wrong.append(f"{command} {when} {number}: run again it ends with {code}")
            left = [name for name in files if "fewtone-part" in name]
            if left:
                wrong.append(f"{command} {when} {number}: left behind {left}")
    return done, wrong


def _run(
    command: str, bench: Path, number: int, when: str, place: Path | None = None
) -> tuple[int, dict[str, bytes]]:
    if place is None:
        place = bench / "kill"
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir()
        shutil.copytree(bench / "shelf", place / "shelf")
        shutil.copy(bench / "lab.txt", place / "lab.txt")
    reading = (bench / "reading").read_text() if (bench / "reading").exists() else _reading(bench)
    words = [word.format(place=place, reading=reading) for word in WRITING[command]]
    shelf = [] if command in ("new", "demo") else ["--shelf", str(place / "shelf")]
    ran = subprocess.run(
        [sys.executable, "-c", _CHILD, str(number), when, *words, *shelf],
        check=False,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    files = {str(p.relative_to(place)): p.read_bytes() for p in place.rglob("*") if p.is_file()}
    return ran.returncode, files


def _reading(bench: Path) -> str:
    """What a bottle a fifth stronger than learnt reads, so that there is something to apply."""
    import fewtone

    lab = fewtone.load(bench / "shelf").predict(["marigold, 5:1, 3 coats over white"]).lab[0]
    said = ",".join(f"{value:.2f}" for value in lab)
    (bench / "reading").write_text(said)
    return said


def _whole(files: dict[str, bytes], bench: Path, new: dict[str, bytes], place: Path) -> list[str]:
    """What is neither the old file nor the new one, or does not belong together."""
    found = []
    for name in (
        "shelf/shelf.toml",
        "shelf/readings.csv",
        "shelf/curves.csv",
        "out.html",
        "new/shelf.toml",
    ):
        old = bench / name
        allowed = [new.get(name)] + ([old.read_bytes()] if old.exists() else [None])
        if files.get(name) not in allowed:
            found.append(f"{name} is torn")
    import fewtone

    if fewtone.load(place / "shelf").curves.uncertainty is None:
        found.append("curves without their uncertainty")
    demo = [name for name in files if name.startswith("demo/")]
    if demo and len(demo) != len([name for name in new if name.startswith("demo/")]):
        found.append("half a demo shelf")
    return found


def _main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--command", choices=WRITING, action="append")
    said = parser.parse_args()
    failed = False
    with tempfile.TemporaryDirectory(prefix="kills-") as place:
        bench = prepare(Path(place))
        for command in said.command or WRITING:
            done, wrong = kills(command, bench)
            print(f"{command}: {done} kills, {len(wrong)} wrong")
            print(json.dumps(wrong, indent=1) if wrong else "", end="")
            failed = failed or bool(wrong)
    return failed


if __name__ == "__main__":
    sys.exit(_main())
