"""A deck on a real Dask scheduler with two worker processes, one of them killed midway."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

import fewtone
from cli.conftest import Run

EXAMPLE = Path(__file__).parents[2] / "examples" / "swatches.csv"
LIMIT_S = 60.0


class Cluster:
    """A scheduler and workers as processes of their own, on the loopback interface alone."""

    def __init__(self, stack: ExitStack, folder: Path) -> None:
        self.stack, self.folder, self.file = stack, folder, folder / "scheduler.json"
        # No timer for idle workers, so that only the scheduler's own notice counts.
        self._start("dask_scheduler", "--port", "0", "--no-dashboard", "--no-show")
        self._wait(self.file.exists)
        self.workers = [self._start("dask_worker", "--nthreads", "1", "--no-nanny", "--name", name,
                                    "--no-dashboard", "--local-directory", str(folder))
                        for name in ("one", "two")]  # fmt: skip

    @property
    def address(self) -> str:
        """The scheduler's address."""
        return str(json.loads(self.file.read_text())["address"])

    def _start(self, module: str, *words: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.{module}", "--host", "127.0.0.1"]
        log = self.stack.enter_context((self.folder / f"{module}-{len(words)}.log").open("ab"))
        process = subprocess.Popen(
            [*command, "--scheduler-file", str(self.file), *words], stdout=log, stderr=log
        )
        self.stack.callback(process.wait)
        self.stack.callback(process.kill)
        return process

    def _wait(self, done: Any) -> None:
        limit = time.monotonic() + LIMIT_S
        while not done():
            assert time.monotonic() < limit
            time.sleep(0.05)


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    """Two workers at a scheduler."""
    pytest.importorskip("distributed")
    with ExitStack() as stack:
        yield Cluster(stack, tmp_path)


def _deck(file: Path, swatches: int) -> Path:
    """The example's swatches, moved a little again and again."""
    head, *rows = EXAMPLE.read_text().splitlines()
    lines = [head]
    for i in range(swatches):
        _, name, lightness, *rest = rows[i % (len(rows) - 1)].split(",")
        moved = float(lightness) + 0.1 * (i // len(rows))
        lines.append(",".join([str(1000 + i), name, f"{moved:.2f}", *rest]))
    file.write_text("\n".join(lines) + "\n")
    return file


@pytest.mark.trial
def test_a_worker_lost_midway_costs_nothing_but_time(
    cluster: Cluster, learnt_demo: Path, tmp_path: Path
) -> None:
    """The same rows as in this process, none missing and none twice; the shelf travels once."""
    deck, out = _deck(tmp_path / "deck.csv", 120), tmp_path / "out.csv"
    words = ("deck", deck, "-o", out, "--shelf", learnt_demo, "--max-toners", 2, "--json",
             "--scheduler", cluster.address)  # fmt: skip
    process = subprocess.Popen(
        [sys.executable, "-m", "fewtone", *map(str, words)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    log = out.with_name("out.csv.unfinished-wal")
    limit = time.monotonic() + LIMIT_S
    while not (log.exists() and log.stat().st_size > 60_000):  # some ten answers are kept
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < limit
        time.sleep(0.01)
    cluster.workers[0].kill()
    told, err = process.communicate(timeout=LIMIT_S)
    assert process.returncode == 0, err
    assert cluster.workers[1].poll() is None
    assert json.loads(told)["swatches"] == 120
    alone = tmp_path / "alone.csv"
    fewtone.load(learnt_demo).write_deck(deck, alone, max_toners=2, workers=1)
    assert out.read_bytes() == alone.read_bytes()


def test_a_scheduler_that_does_not_answer_is_told(
    learnt_demo: Path, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An address where nobody listens, and one that is none."""
    pytest.importorskip("distributed")
    monkeypatch.setattr("fewtone.decks.cluster._PATIENCE_S", 1)
    deck = _deck(tmp_path / "deck.csv", 3)
    for address in ("tcp://127.0.0.1:1", "nowhere at all", "inproc://x/1/1"):
        ran = run(
            "deck", deck, "-o", tmp_path / "o.csv", "--shelf", learnt_demo, "--scheduler", address
        )
        assert ran.code == 2, ran.err
        assert "scheduler" in ran.err
    assert not list(tmp_path.glob("o.csv*"))


def test_an_address_that_is_none_ends_at_once(learnt_demo: Path, tmp_path: Path) -> None:
    """A client that could not connect leaves nothing behind that ends in a traceback later."""
    pytest.importorskip("distributed")
    out = tmp_path / "o.csv"
    words = ["deck", EXAMPLE, "-o", out, "--shelf", learnt_demo, "--scheduler", "nonsense"]
    ran = subprocess.run(
        [sys.executable, "-m", "fewtone", *map(str, words)],
        capture_output=True,
        text=True,
        timeout=25,
        check=False,
    )
    assert ran.returncode == 2
    assert "No Dask scheduler answers" in ran.stderr
    assert "Traceback" not in ran.stderr
