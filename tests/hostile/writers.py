"""Several commands write to one shelf at once: ``python tests/hostile/writers.py --pairs 200``."""

from __future__ import annotations

import argparse
import random
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from hostile.bench import RECIPE, prepare

__all__ = ["pair"]

# Both are ready before either goes on: they meet at the file, not at the interpreter's start.
_CHILD = """
import os, sys, time
from fewtone.cli.main import main
import fewtone.io.keep, fewtone.io.strength, fewtone.workshop.panel.adjust, numpy
open(sys.argv[1], "w").close()
while not os.path.exists(sys.argv[2]): time.sleep(0.0005)
time.sleep(float(sys.argv[3]))
sys.stdout = open(os.devnull, "w")
main(sys.argv[4:])
"""


def pair(bench: Path, rng: random.Random, number: int) -> list[str]:
    """Two to four writers at once; return what was lost."""
    place = bench / "pair"
    shutil.rmtree(place, ignore_errors=True)
    shutil.copytree(bench / "shelf", place)
    count = rng.choice((2, 2, 3, 4))
    wrong: list[str] = []
    if number % 3 == 2:
        return _on_a_book(bench, place, count, rng)
    if number % 3 == 1:
        said = ["adjust", RECIPE, "--target", "38,-18,9", "--reading", "40,-8,31", "--keep-reading"]
        codes = _together(bench, place, [said] * count, rng)
        kept = (place / "readings.csv").read_text().count("\nkept-")
        if codes != [0] * count or kept != count:
            wrong.append(f"{count} readings kept at once: {kept} stand there, exit codes {codes}")
        return wrong
    import fewtone

    shelf = fewtone.load(place)
    commands = []
    toners = ("marigold", "dusk", "harbour")[: min(count, 3)]
    for toner in toners:
        lab = shelf.predict([f"{toner}, 4.5:1, 3 coats over white"]).lab[0]
        reading = ",".join(f"{value:.2f}" for value in lab)
        commands.append(
            ["bottle", f"{toner}, 6:1, 3 coats over white", "--reading", reading, "--apply"]
        )
    codes = _together(bench, place, commands, rng)
    settings = tomllib.loads((place / "shelf.toml").read_text())
    written = [toner for toner in toners if "strength" in settings["toners"][toner]]
    expected = [toner for toner, code in zip(toners, codes, strict=True) if code == 0]
    if written != expected or not expected:
        wrong.append(
            f"strengths of {expected} were applied at once: {written} stand there, {codes}"
        )
    return wrong


def _on_a_book(bench: Path, place: Path, count: int, rng: random.Random) -> list[str]:
    """Notes to one job and readings kept for it, all at once."""
    from fewtone.jobs import Book

    book = place / "book.db"
    shutil.copy(bench / "book.db", book)
    before = len(Book(book).job("lamp").entries)
    adjust = ["adjust", "--job", "lamp", "--reading", "40,-8,31", "--keep-reading"]
    commands = [
        [*(adjust if i % 2 else ["job", "note", "lamp", f"note {i}"]), "--book", str(book)]
        for i in range(count)
    ]
    codes = _together(bench, place, commands, rng)
    entries = [(e.kind, e.data.get("text")) for e in Book(book).job("lamp").entries[before:]]
    kept = (place / "readings.csv").read_text().count("\nkept-")
    notes = sorted(f"note {i}" for i in range(0, count, 2))
    found = sorted(str(text) for kind, text in entries if kind == "note")
    panels = sum(kind == "panel" for kind, _ in entries)
    if codes != [0] * count or found != notes or not kept == panels == count // 2:
        return [f"{count} writers on a book: {entries}, {kept} readings kept, exit codes {codes}"]
    return []


def _together(bench: Path, place: Path, commands: list[list[str]], rng: random.Random) -> list[int]:
    go = bench / "go"
    go.unlink(missing_ok=True)
    ready = [bench / f"ready-{i}" for i in range(len(commands))]
    for file in ready:
        file.unlink(missing_ok=True)
    running = [
        subprocess.Popen(
            [
                sys.executable,
                "-c",
                _CHILD,
                str(file),
                str(go),
                f"{rng.uniform(0, 0.01):.4f}",
                *said,
                *([] if said[0] == "job" else ["--shelf", str(place)]),
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        for file, said in zip(ready, commands, strict=True)
    ]
    while not all(
        file.exists() or p.poll() is not None for file, p in zip(ready, running, strict=True)
    ):
        time.sleep(0.002)
    go.touch()
    return [process.wait() for process in running]


def _main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    said = parser.parse_args()
    lost = 0
    with tempfile.TemporaryDirectory(prefix="writers-") as place:
        bench = prepare(Path(place))
        for number in range(said.pairs):
            wrong = pair(bench, random.Random(f"{said.seed}:{number}"), number)
            lost += bool(wrong)
            for line in wrong:
                print(f"{number}: {line}")
    print(f"{said.pairs} pairs, {lost} with a loss")
    return bool(lost)


if __name__ == "__main__":
    sys.exit(_main())
