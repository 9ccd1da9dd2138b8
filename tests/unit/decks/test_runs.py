"""Decks on processes, executors and threads: the same answers, whatever becomes of a worker."""

from __future__ import annotations

import os
import signal
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import active_children, get_context
from pathlib import Path
from typing import Any

import pytest

from fewtone.decks import Answer, Question, answer_deck, here, on_executor, on_processes
from fewtone.decks.run import flow
from fewtone.decks.swatch import answer_packed
from fewtone.decks.unfinished import Unfinished, fingerprint
from fewtone.errors import FewtoneError, UsageError
from fewtone.model.target import Target
from fewtone.prediction.recipes import predict
from fewtone.recipes.rules import Rules
from invented import invented_shelf, lab_target


@pytest.fixture(scope="module")
def question() -> Question:
    """A small shelf that is unsure of itself, so that chances are told."""
    curves, settings = invented_shelf(7, 5, 3, unsure=0.02)
    return Question(curves, settings, Rules.of(settings, max_toners=2, max_part=2), False, True)


@pytest.fixture(scope="module")
def targets(question: Question) -> list[Target]:
    """Colours of some recipes of it, and one that is out of reach."""
    lines = [
        f"{part} toner-00 + 1 toner-0{other}, {m}:1, {coats} coats over silver"
        for part in (1, 2)
        for other in (1, 2, 3)
        for m in (6, 8)
        for coats in (2, 4)
    ]
    recipes = [question.settings.recipe(line) for line in lines]
    light = question.settings.measurement.light
    labs = predict(question.curves, recipes, light).lab.tolist()
    return [lab_target(lab) for lab in [*labs, [50.0, 120.0, -120.0]]]


@pytest.fixture(scope="module")
def plain(question: Question, targets: list[Target]) -> list[Answer]:
    """One after the other in this process."""
    return answer_deck(question, targets, here)


def test_threads_give_the_same(
    question: Question, targets: list[Target], plain: list[Answer]
) -> None:
    """On an executor of threads, few swatches under way at once."""
    told: list[int] = []
    with ThreadPoolExecutor(3) as pool:
        runner = on_executor(pool, ahead=2)
        assert answer_deck(question, targets, runner, lambda n, _: told.append(n)) == plain
    assert told == list(range(1, len(targets) + 1))
    assert not plain[-1]["row"]["reached"]
    assert plain[0]["row"]["reached"]


def test_any_executor_of_processes_gives_the_same(
    question: Question, targets: list[Target], plain: list[Answer]
) -> None:
    """The shelf goes along packed and comes out whole, read-only mappings and all."""
    with ProcessPoolExecutor(1, get_context("spawn")) as pool:
        assert answer_deck(question, targets[:3], on_executor(pool)) == plain[:3]


def test_a_process_that_is_killed_costs_nothing_but_time(
    question: Question,
    targets: list[Target],
    plain: list[Answer],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """One of two is killed midway: its swatches are asked again, none twice in the answer.

    The folder that they share is gone in the end.
    """
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    killed: list[int] = []

    def progress(done: int, _: int) -> None:
        assert len(list(tmp_path.iterdir())) == 1
        if done == 3 and not killed:
            killed.append(active_children()[0].pid or 0)
            os.kill(killed[0], signal.SIGKILL)

    assert answer_deck(question, targets, on_processes(2), progress) == plain
    assert killed
    assert not active_children()
    assert not list(tmp_path.iterdir())


class _Counting(Executor):
    """Runs each call when its result is looked at, and counts those that wait."""

    def __init__(self) -> None:
        self.most = self.waiting = 0

    def submit(self, call: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        self.waiting += 1
        self.most = max(self.most, self.waiting)
        future: Future[Any] = Future()

        def run() -> None:
            time.sleep(0.001)
            self.waiting -= 1
            if future.set_running_or_notify_cancel():
                future.set_result(call(*args, **kwargs))

        threading.Thread(target=run).start()
        return future


def test_no_more_are_under_way_than_said() -> None:
    """A deck without end is answered in the space of a few swatches."""
    counting = _Counting()

    def endless() -> Iterator[tuple[int, Target]]:
        place = 0
        while True:
            yield place, lab_target((50.0, 0.0, 0.0))
            place += 1

    answers = flow(lambda _: counting.submit(dict), endless(), 5)
    assert len({next(answers)[0] for _ in range(50)}) == 50
    answers.close()
    assert counting.most <= 5


def test_another_version_is_told(question: Question, monkeypatch: pytest.MonkeyPatch) -> None:
    """A worker of another version refuses, rather than to answer in its own way."""
    packed = question.packed()
    monkeypatch.setattr("fewtone.decks.swatch.__version__", "9.9")
    monkeypatch.setattr("fewtone.decks.swatch._unpacked", {})
    with pytest.raises(FewtoneError, match="same version"):
        answer_packed(packed, lab_target((50, 0, 0)))


def test_what_is_of_another_run_is_seen(
    question: Question, targets: list[Target], tmp_path: Path
) -> None:
    """Deck, shelf, rules and what is asked each change the mark; the same ones do not."""
    from dataclasses import replace

    mark = fingerprint(question, targets)
    again, _ = invented_shelf(7, 5, 3, unsure=0.02)
    assert fingerprint(replace(question, curves=again), list(targets)) == mark
    for other in (
        fingerprint(question, targets[:-1]),
        fingerprint(replace(question, would_help=True), targets),
        fingerprint(replace(question, rules=replace(question.rules, tolerance=1.1)), targets),
        fingerprint(
            replace(question, curves=replace(again, absorption=again.absorption * 1.0000001)),
            targets,
        ),
    ):
        assert other != mark
    out = tmp_path / "out.csv"
    with Unfinished(out, mark) as kept:
        kept.add([(0, {"row": {}})])
        with pytest.raises(FewtoneError, match="Another run"), Unfinished(out, mark):
            pass
    with pytest.raises(UsageError, match="force"), Unfinished(out, "other"):
        pass
    with Unfinished(out, mark) as kept:
        assert kept.done() == {0}
    with Unfinished(out, "other", fresh=True) as kept:
        assert kept.done() == set()
    assert list(tmp_path.iterdir()) == []  # nothing was answered: nothing is left
    (tmp_path / "out.csv.unfinished").write_text("number,L,a,b\n")
    with pytest.raises(FewtoneError, match="not what an unfinished run"), Unfinished(out, mark):
        pass
    assert (tmp_path / "out.csv.unfinished").read_text() == "number,L,a,b\n"
