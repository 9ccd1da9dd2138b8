"""Run hostile cases: ``python tests/hostile/run.py --cases 20000 --seed 1``.

Cases run in worker processes, one after another in each; a worker that does not answer is ended,
its case counts as a breach, and another goes on behind it. A case is said by its seed and number:
``--seed 1 --from 1234 --cases 1`` runs it again (an interrupt comes at another moment then).
"""

from __future__ import annotations

import argparse
import contextlib
import errno
import io
import json
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import typer.main

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

if TYPE_CHECKING:
    from hostile.contract import Outcome

__all__ = ["Breach", "run"]

_PATIENCE_S = 300.0
_MOST_MEMORY = (
    4_000_000_000  # of addresses, so that a runaway ends in the worker and not the machine
)
_OF_FORMS, _OF_INTERRUPTS, _LATEST_INTERRUPT_S = 0.06, 0.04, 0.3
_HURT = (
    "shelf/readings.csv",
    "shelf/shelf.toml",
    "shelf/curves.csv",
    "deck.csv",
    "deck.xlsx",
    "lab.txt",
    "spectra.cxf",
    "book.db",
    "jobs.json",
    "jobs.csv",
)


@dataclass(frozen=True, slots=True)
class Breach:
    """A case that broke the contract."""

    seed: int
    case: int
    words: list[str]
    hurt: list[str]
    found: list[str]


class _Terminal(io.TextIOWrapper):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        """It says so."""
        return True


class _Broken(io.RawIOBase):
    """A stream whose disk is full, or whose reader is gone."""

    def __init__(self, error: OSError) -> None:
        self.error = error

    def writable(self) -> bool:
        """It says so."""
        return True

    def write(self, _: Any) -> int:
        """It does not."""
        raise self.error


def run(
    cases: int, seed: int, *, first: int = 0, workers: int = 1
) -> tuple[list[Breach], Counter[str]]:
    """Run cases; return the breaches and how often each exit code came."""
    with tempfile.TemporaryDirectory(prefix="hostile-") as place:
        bench = _prepared(Path(place))
        share = -(-cases // workers)
        spans = [
            (first + i * share, min(first + cases, first + (i + 1) * share)) for i in range(workers)
        ]
        running = [_Worker(seed, *span, bench) for span in spans if span[0] < span[1]]
        while any(worker.goes_on() for worker in running):
            time.sleep(0.1)
        return [b for w in running for b in w.breaches], sum((w.codes for w in running), Counter())


def _prepared(place: Path) -> Path:
    from hostile.bench import prepare

    return prepare(place)


class _Worker:
    """A worker process, started again behind a case that it did not survive."""

    def __init__(self, seed: int, start: int, stop: int, bench: Path) -> None:
        self.seed, self.at, self.stop, self.bench = seed, start, stop, bench
        self.breaches: list[Breach] = []
        self.codes: Counter[str] = Counter()
        self.log = bench / f"log-{start}"
        self.read = 0
        self._start()

    def _start(self) -> None:
        self.log.write_bytes(b"")
        self.read = 0
        self.heard = time.monotonic()
        self.process = subprocess.Popen(
            [
                sys.executable,
                __file__,
                "--worker",
                str(self.log),
                "--bench",
                str(self.bench),
                "--seed",
                str(self.seed),
                "--from",
                str(self.at),
                "--cases",
                str(self.stop - self.at),
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
        )

    def goes_on(self) -> bool:
        """Take in what it found; whether there is more to come."""
        with self.log.open("rb") as file:
            file.seek(self.read)
            lines = file.read()
        whole = lines[: lines.rfind(b"\n") + 1]
        self.read += len(whole)
        for line in whole.splitlines():
            said = json.loads(line)
            self.at, self.heard = said["case"] + 1, time.monotonic()
            self.codes[str(said["code"])] += 1
            if said["found"]:
                self._note(
                    Breach(self.seed, said["case"], said["words"], said["hurt"], said["found"])
                )
        if self.at >= self.stop:
            self.process.wait()
            if self.process.stderr:
                self.process.stderr.close()
            return False
        ended = self.process.poll() is not None
        if not whole and (ended or time.monotonic() - self.heard > _PATIENCE_S):
            self.process.kill()
            self.process.wait()
            said_last = (
                self.process.stderr.read().decode(errors="replace")[-500:]
                if self.process.stderr
                else ""
            )
            if self.process.stderr:
                self.process.stderr.close()
            why = f"the process ended: {said_last}" if ended else f"no answer in {_PATIENCE_S:g} s"
            self._note(Breach(self.seed, self.at, [], [], [why]))
            self.at += 1
            if self.at >= self.stop:
                return False
            self._start()
        return True

    def _note(self, breach: Breach) -> None:
        self.breaches.append(breach)
        print(json.dumps(asdict(breach), indent=1), flush=True)


def _work(log: Path, bench: Path, seed: int, first: int, cases: int) -> None:
    """Run cases in this process, one line of the log for each."""
    from hostile.contract import breaches, snapshot
    from hostile.forms import form_breaches, visit

    _build_once()
    resource.setrlimit(resource.RLIMIT_AS, (_MOST_MEMORY, _MOST_MEMORY))
    temporary = bench / f"tmp-{first}"
    temporary.mkdir(exist_ok=True)
    os.environ["TMPDIR"] = tempfile.tempdir = str(temporary)
    for name in [name for name in os.environ if name.startswith("FEWTONE")]:
        del os.environ[name]
    with log.open("ab", buffering=0) as file:
        for case in range(first, first + cases):
            rng = random.Random(f"{seed}:{case}")
            place = bench / f"case-{first}"
            shutil.rmtree(place, ignore_errors=True)
            place.mkdir()
            hurt = _furnish(bench, place, rng)
            before = snapshot(place)
            if rng.random() < _OF_FORMS:
                outcome = visit(rng, place)
                found = form_breaches(outcome, before, snapshot(place))
            else:
                outcome = _one(rng, place)
                found = breaches(outcome, before, snapshot(place))
            for report in temporary.iterdir():
                if report.name.startswith("fewtone-fault"):
                    found.append(report.read_text(errors="replace")[-1500:])
                with contextlib.suppress(OSError):
                    report.unlink()
            said = {
                "case": case,
                "code": outcome.code,
                "words": outcome.words,
                "hurt": hurt,
                "found": found,
            }
            file.write(json.dumps(said).encode() + b"\n")
    shutil.rmtree(bench / f"case-{first}", ignore_errors=True)


def _build_once() -> None:
    """Keep each command when it is built: that takes longer than most cases."""
    cli: Any = import_module("fewtone.cli.main")
    build = cli.application
    built: dict[tuple[str, ...], Any] = {}

    def application(words: Sequence[str] = ()) -> Any:
        key = tuple(words) if len(words) == 1 else tuple(words[:1])
        if key not in built:
            built[key] = typer.main.get_command(build(words))
        return built[key]

    cli.application = application


def _furnish(bench: Path, place: Path, rng: random.Random) -> list[str]:
    """A copy of the bench, hurt in none to three places."""
    from hostile.hurt import hurt

    shutil.copytree(bench / "shelf", place / "shelf")
    for name in _HURT[3:]:
        shutil.copy(bench / name, place / name)
    (place / "shelf" / "readings.csv").chmod(rng.choice((0o644, 0o600)))
    files = [place / name for name in _HURT] + list((place / "shelf").glob("*.npz"))
    done = []
    for _ in range(rng.choice((0, 1, 1, 1, 2, 3))):
        file = rng.choice(files)
        if file.is_file() and not file.is_symlink() and file.stat().st_size < 20_000_000:
            done.append(hurt(file, rng))
    return done


def _one(rng: random.Random, place: Path) -> Outcome:
    """One command in this process, its streams whole or broken; or interrupted, in a fork."""
    from hostile.arguments import words

    said = words(rng, place)
    encoding = rng.choice(("utf-8",) * 6 + ("ascii", "latin-1", "cp1252"))
    stream = rng.choice(("whole",) * 14 + ("terminal",) * 3 + ("full", "gone", "closed"))
    os.environ["COLUMNS"] = str(rng.choice((80, 80, 200, *range(1, 41))))
    os.environ["TERM"] = rng.choice(("dumb", "xterm-256color", "xterm"))
    os.environ["COLORTERM"] = rng.choice(("", "truecolor"))
    os.environ["FEWTONE_BOOK"] = str(place / "book.db")
    os.chdir(place)
    try:
        if rng.random() < _OF_INTERRUPTS:
            return _interrupted(said, rng.uniform(0.0, _LATEST_INTERRUPT_S))
        return _whole(said, encoding, stream)
    finally:
        os.chdir("/")


def _whole(said: list[str], encoding: str, stream: str) -> Outcome:
    """One command in this process."""
    from fewtone.cli import main
    from hostile.contract import Outcome

    raw_out, raw_err = io.BytesIO(), io.BytesIO()
    kind = _Terminal if stream == "terminal" else io.TextIOWrapper
    whole = kind(raw_out, encoding=encoding, write_through=True)
    out: Any = whole  # kept by its own name too: it closes what it wraps when it goes
    err = io.TextIOWrapper(raw_err, encoding="utf-8", write_through=True)
    if stream in ("full", "gone"):
        number = errno.ENOSPC if stream == "full" else errno.EPIPE
        broken = _Broken(OSError(number, os.strerror(number)))
        out = io.TextIOWrapper(io.BufferedWriter(broken), encoding=encoding)
    elif stream == "closed":
        out = None
    kept = sys.stdout, sys.stderr
    started = time.process_time()
    code: int | None = None
    try:
        sys.stdout, sys.stderr = out, err
        main(list(said))
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else None
    finally:
        spent = time.process_time() - started
        sys.stdout, sys.stderr = kept
        if stream in ("full", "gone"):
            with contextlib.suppress(OSError, ValueError):
                out.detach().detach()
    whole.flush()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    told, warned = raw_out.getvalue().decode(encoding), raw_err.getvalue().decode()
    return Outcome([*said], code, told, warned, spent, peak, stream)


def _interrupted(said: list[str], after_s: float) -> Outcome:
    """One command in a fork, as it is started from a shell, and SIGINT sent to it."""
    from hostile.contract import Outcome

    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        # What comes before the command's first line finds the interpreter, which is not tried here.
        kept = signal.signal(signal.SIGINT, signal.SIG_IGN)
        child = os.fork()
        if child == 0:
            _start(said, out.fileno(), err.fileno())
        signal.signal(signal.SIGINT, kept)
        time.sleep(after_s)
        os.kill(child, signal.SIGINT)
        _, status, used = os.wait4(child, 0)
        for file in (out, err):
            file.seek(0)
        told, warned = (file.read().decode(errors="surrogateescape") for file in (out, err))
    code, spent = os.waitstatus_to_exitcode(status), used.ru_utime + used.ru_stime
    return Outcome([*said], code, told, warned, spent, used.ru_maxrss * 1024, "interrupted")


def _start(said: list[str], out: int, err: int) -> NoReturn:
    """Be the command, from its first line on."""
    os.dup2(out, 1)
    os.dup2(err, 2)
    sys.stdout, sys.stderr = (open(n, "w", encoding="utf-8", closefd=False) for n in (1, 2))  # noqa: SIM115
    sys.argv = ["fewtone", *said]
    from fewtone.__main__ import main

    code: Any = 4
    try:
        main()
    except SystemExit as ended:
        code = ended.code
    except BaseException:
        traceback.print_exc()
    os._exit(code if isinstance(code, int) else 0)


def _main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--from", dest="first", type=int, default=0)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--worker", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--bench", type=Path, help=argparse.SUPPRESS)
    said = parser.parse_args()
    if said.worker:
        _work(said.worker, said.bench, said.seed, said.first, said.cases)
        return 0
    started = time.monotonic()
    found, codes = run(said.cases, said.seed, first=said.first, workers=said.workers)
    spent = time.monotonic() - started
    print(
        f"seed {said.seed}: {sum(codes.values())} cases in {spent:.0f} s, "
        f"exit codes {dict(codes)}, {len(found)} breaches"
    )
    return bool(found)


if __name__ == "__main__":
    sys.exit(_main())
