"""Kill writing commands: ``python tests/hostile/kills.py [--command learn] [--kills 200]``.

A command runs in a process whose writing calls (`os.open` for writing, `os.write`, file writes,
`os.fsync`, `os.replace`, `os.rename`, `os.unlink`, `os.mkdir`, `os.fchmod`, `os.link`) are counted
through wrappers; at the n-th it kills itself with SIGKILL, before the call or after it. For n = 1,
2, 3 … until the command ends by itself. What SQLite writes goes past Python: with `--kills N` each
command is killed at random moments besides, until N kills are done.

After each kill every file is the old one or the new one, whole; what `learn` writes belongs
together; a job book opens and holds what was committed; and the same command, run again, ends well
and leaves nothing behind.

Commands run in forks of a process that has imported everything (`_serve`), so that a kill costs
little more than the command's own work.
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import json
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from hostile.bench import RECIPE, prepare
from visitor import Visitor, open_board

__all__ = ["WRITING", "Forks", "kills", "random_kills"]

_ADJUST = ("adjust", RECIPE, "--target", "38,-18,9", "--reading", "40,-8,31", "--keep-reading")
_BOOK = ("--book", "{place}/book.db")
WRITING: dict[str, tuple[str, ...]] = {
    "adjust": _ADJUST,
    "adjust-job": (*_ADJUST, "--job", "lamp", *_BOOK),
    "bottle": ("bottle", "marigold, 6:1, 3 coats over white", "--reading", "{reading}", "--apply"),
    "take": ("take", "{place}/lab.txt"),
    "learn": ("learn", "--leave-out", "{panel}"),
    "add-rows": ("learn", "--add-rows"),
    "new": ("new", "{place}/new"),
    "demo": ("new", "{place}/demo", "--demo"),
    "sheet": ("sheet", RECIPE, "-o", "{place}/out.html"),
    "label": ("label", RECIPE, "-o", "{place}/out.html"),
    "reach": ("reach", "-o", "{place}/out.svg", "--max-toners", "1"),
    "match-job": ("match", "38,-18,9", "--max-toners", "1", "--job", "another", *_BOOK),
    "keep": ("job", "keep", "third", RECIPE, "--target", "38,-18,9", *_BOOK),
    "note": ("job", "note", "lamp", "gun B", *_BOOK),
    "end": ("job", "end", "lamp", "passed", *_BOOK),
    "import": ("job", "import", "{place}/jobs.json", "--book", "{place}/new.db"),
    "export": ("job", "export", "{place}/out.json", *_BOOK),
    "board": ("board", "{place}", "{panel}"),  # typed into its page of rows
    "deck": (
        *("deck", "{place}/deck.csv", "-o", "{place}/reached.csv", "--max-toners", "1"),
        *("--without-help", "--bottles", "30%"),
    ),
}
_CALLS = (
    *("fsync", "replace", "rename", "unlink", "remove", "mkdir"),
    *("rmdir", "fchmod", "fchown", "link", "write"),
)
_WITHOUT_SHELF = ("new", "demo", "note", "end", "import", "export", "board")
_FILES = ("lab.txt", "deck.csv", "book.db", "jobs.json")
# Not compared with what they were: the lock, what is of a run, books (looked into), archives.
_APART = (".fewtone", "fewtone-part", ".unfinished", ".db", ".npz")


class Forks:
    """A process that runs commands in forks of itself, and may kill them."""

    def __init__(self, bench: Path) -> None:
        self.bench, self.place = bench, bench / "kill"
        self.process = subprocess.Popen(
            [sys.executable, __file__, "--serve"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        with (bench / "shelf" / "readings.csv").open(encoding="utf-8") as file:
            panels = [row["panel"] for row in csv.DictReader(file) if row["blend"]]
        self.said = {"place": str(self.place), "panel": panels[-1], "reading": _reading(bench)}

    def run(self, command: str, *, fresh: bool = True, **how: Any) -> tuple[int, float]:
        """Run a command; return its exit code, or less a signal, and how long it took [s]."""
        if fresh:
            shutil.rmtree(self.place, ignore_errors=True)
            self.place.mkdir()
            shutil.copytree(self.bench / "shelf", self.place / "shelf")
            for name in _FILES:
                shutil.copy(self.bench / name, self.place / name)
        words = [word.format(**self.said) for word in WRITING[command]]
        shelf = [] if command in _WITHOUT_SHELF else ["--shelf", str(self.place / "shelf")]
        assert self.process.stdin
        assert self.process.stdout
        self.process.stdin.write(json.dumps({"words": [*words, *shelf], **how}) + "\n")
        self.process.stdin.flush()
        told = json.loads(self.process.stdout.readline())
        return int(told["code"]), float(told["seconds"])

    def files(self) -> dict[str, bytes]:
        """All files by name below the place."""
        paths = self.place.rglob("*")
        return {str(p.relative_to(self.place)): p.read_bytes() for p in paths if p.is_file()}

    def close(self) -> None:
        """End it."""
        self.process.communicate()


@contextlib.contextmanager
def forks(bench: Path) -> Iterator[Forks]:
    """Commands in forks, for as long as the context lasts."""
    server = Forks(bench)
    try:
        yield server
    finally:
        server.close()


def kills(command: str, bench: Path, *, most: int = 1000, step: int = 1) -> tuple[int, list[str]]:
    """Kill a command at each `step`-th of its writes; return how often, and what was wrong."""
    wrong: list[str] = []
    done = 0
    with forks(bench) as server:
        new = _whole_run(server, command)
        for when in ("before", "after"):
            for number in range(1, most + 1, step):
                code, _ = server.run(command, number=number, when=when)
                if code != -signal.SIGKILL:
                    break
                done += 1
                wrong += [f"{when} {number}: {said}" for said in _after_kill(server, command, new)]
    return done, [f"{command} {each}" for each in wrong]


def random_kills(command: str, bench: Path, count: int, seed: int) -> tuple[int, list[str]]:
    """Kill a command at random moments so many times; return how often, and what was wrong."""
    wrong: list[str] = []
    done = 0
    rng = random.Random(f"{seed}:{command}")
    with forks(bench) as server:
        new = _whole_run(server, command)
        longest = max(server.run(command)[1] for _ in range(3))
        for _ in range(20 * count):
            delay = rng.uniform(0.0, 1.05 * longest)
            code, seconds = server.run(command, delay=delay)
            if code != -signal.SIGKILL:
                longest = 0.9 * longest + 0.1 * seconds  # the machine's pace varies
                continue
            done += 1
            wrong += [f"after {delay:.4f} s: {s}" for s in _after_kill(server, command, new)]
            if done == count:
                break
    return done, [f"{command} {each}" for each in wrong]


def _whole_run(server: Forks, command: str) -> dict[str, bytes]:
    """The files as a run leaves them that nothing disturbs."""
    server.run(command, warm=True)
    code, _ = server.run(command)
    assert code in (0, 3), f"{command} ends with {code}"
    return server.files()


def _after_kill(server: Forks, command: str, new: dict[str, bytes]) -> list[str]:
    found = _torn(server, new)
    code, _ = server.run(command, fresh=False)
    if code not in (0, 1, 2, 3):
        found.append(f"run again it ends with {code}")
    files = server.files()
    if left := [name for name in files if "fewtone-part" in name or ".unfinished" in name]:
        found.append(f"left behind {left}")
    if command == "deck" and files.get("reached.csv") != new["reached.csv"]:
        found.append("run again it gives other rows")
    return found


def _torn(server: Forks, new: dict[str, bytes]) -> list[str]:
    """What is neither the old file nor the new one, or does not belong together."""
    import fewtone

    found, files = [], server.files()
    for name, content in files.items():
        old = server.bench / name
        allowed = [new.get(name)] + ([old.read_bytes()] if old.is_file() else [])
        if not any(mark in name for mark in _APART) and content not in allowed:
            found.append(f"{name} is torn")
    found += [
        f"{name} is gone"
        for name in ("shelf/shelf.toml", "shelf/readings.csv", "shelf/curves.csv", *_FILES)
        if name not in files
    ]
    if fewtone.load(server.place / "shelf").curves.uncertainty is None:
        found.append("curves without their uncertainty")
    demo = [name for name in files if name.startswith("demo/")]
    if demo and len(demo) != len([name for name in new if name.startswith("demo/")]):
        found.append("half a demo shelf")
    return found + _books(server, files)


def _books(server: Forks, files: dict[str, bytes]) -> list[str]:
    """What is wrong with the job books: each opens, and holds what it held before at least."""
    from fewtone import FewtoneError
    from fewtone.jobs import Book

    found = []
    old = Book(server.bench / "book.db").jobs()
    for name, content in files.items():
        if not name.endswith(".db"):
            continue
        try:
            jobs = {job.name: job for job in Book(server.place / name).jobs()}
        except FewtoneError as error:
            found.append(f"{name}: {error}")
            continue
        if content:
            with contextlib.closing(sqlite3.connect(server.place / name)) as raw:
                (sound,) = raw.execute("PRAGMA integrity_check").fetchone()
            if sound != "ok":
                found.append(f"{name}: {sound}")
        for job in old if name == "book.db" else ():
            if job.name not in jobs or jobs[job.name].entries[: len(job.entries)] != job.entries:
                found.append(f"{name}: {job.name} has lost entries")
            elif len(jobs[job.name].entries) - len(job.entries) not in (0, 1, 2):
                found.append(f"{name}: {job.name} has too many entries")
    return found


def _reading(bench: Path) -> str:
    """What a bottle a fifth stronger than learnt reads, so that there is something to apply."""
    import fewtone

    lab = fewtone.load(bench / "shelf").predict(["marigold, 5:1, 3 coats over white"]).lab[0]
    return ",".join(f"{value:.2f}" for value in lab)


def _serve() -> None:
    """Run each command that is asked for, a line of JSON each, and tell how it ended."""
    from fewtone.cli.main import application

    application()
    for line in sys.stdin:
        said = json.loads(line)
        started = time.monotonic()
        if said.get("warm"):
            code = _command(said["words"])
        else:
            child = os.fork()
            if child == 0:
                _count_writes(said.get("number", 0), said.get("when", "before"))
                os._exit(_command(said["words"]))
            if "delay" in said:
                time.sleep(said["delay"])
                with contextlib.suppress(ProcessLookupError):
                    os.kill(child, signal.SIGKILL)
            code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        sys.stdout.write(json.dumps({"code": code, "seconds": time.monotonic() - started}) + "\n")
        sys.stdout.flush()


def _typed(place: Path, panel: str) -> int:
    """Note something beside a panel's first row, on the board."""
    with open_board(place, book=place / "book.db") as doors:
        visitor = Visitor(doors)
        form = visitor.get("/shelf/rows", panel=panel).form("/shelf/rows")
        note = next(
            name for name, _ in form.fields if name.startswith("cell-") and name[-2:] == "-6"
        )
        answer = visitor.send(form, **{note: "typed"})
    return 0 if "was written" in answer.words or "Nothing was changed" in answer.words else 4


def _command(words: list[str]) -> int:
    from fewtone.cli.main import main

    if words[0] == "board":
        return _typed(Path(words[1]), words[2])
    with Path(os.devnull).open("w", encoding="utf-8") as null:
        kept = sys.stdout, sys.stderr
        sys.stdout = sys.stderr = null
        try:
            main(words)
        except SystemExit as ended:
            return ended.code if isinstance(ended.code, int) else 4
        finally:
            sys.stdout, sys.stderr = kept
    return 4


def _count_writes(wanted: int, when: str) -> None:
    """Count each call that changes the disk, and die at the one that is wanted."""
    count = 0

    def counted(call: Callable[..., Any]) -> Callable[..., Any]:
        def called(*args: Any, **kwargs: Any) -> Any:
            nonlocal count
            count += 1
            own = count
            if own == wanted and when == "before":
                os.kill(os.getpid(), signal.SIGKILL)
            result = call(*args, **kwargs)
            if own == wanted:
                os.kill(os.getpid(), signal.SIGKILL)
            return result

        return called

    real_open, real_fdopen = os.open, os.fdopen
    for name in _CALLS:
        setattr(os, name, counted(getattr(os, name)))

    def opened(path: Any, flags: int, *args: Any, **kwargs: Any) -> int:
        writes = flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)
        return int((counted(real_open) if writes else real_open)(path, flags, *args, **kwargs))

    class Counted:
        """A file that is torn in the middle too."""

        def __init__(self, file: Any) -> None:
            self.file = file

        def write(self, data: Any) -> Any:
            half = len(data) // 2
            counted(self.file.write)(data[:half])
            self.file.flush()
            return counted(self.file.write)(data[half:])

        def __getattr__(self, name: str) -> Any:
            return getattr(self.file, name)

        def __enter__(self) -> Counted:
            self.file.__enter__()
            return self

        def __exit__(self, *ended: Any) -> Any:
            return self.file.__exit__(*ended)

    def fdopened(handle: int, mode: str = "r", *args: Any, **kwargs: Any) -> Any:
        file = real_fdopen(handle, mode, *args, **kwargs)
        return Counted(file) if "w" in mode else file

    os.open, os.fdopen = opened, fdopened  # type: ignore[assignment]


def _main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--command", choices=WRITING, action="append")
    parser.add_argument("--kills", type=int, default=0, help="at random moments, of each command")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--serve", action="store_true", help=argparse.SUPPRESS)
    said = parser.parse_args()
    if said.serve:
        _serve()
        return 0
    failed = False
    with tempfile.TemporaryDirectory(prefix="kills-") as place:
        bench = prepare(Path(place))
        for command in said.command or WRITING:
            done, wrong = kills(command, bench)
            if done < said.kills:
                more, worse = random_kills(command, bench, said.kills - done, said.seed)
                done, wrong = done + more, wrong + worse
            print(f"{command}: {done} kills, {len(wrong)} wrong", flush=True)
            print(json.dumps(wrong, indent=1) if wrong else "", end="", flush=True)
            failed = failed or bool(wrong)
    return failed


if __name__ == "__main__":
    sys.exit(_main())
