"""Times a deck against a loop over `match`, one process against two, long decks against short.

    python tests/benchmarks/bench_deck.py [--swatches 2000] [--sample 100] [--toners 2] [--toners 3]
                                          [--without-help] [--part speed|cores|memory]

The deck is made of the Munsell renotation's real colours, as colour-science has them (xyY under
illuminant C, 2°), every k-th of them; the shelf is the demo, learnt afresh.

speed     the deck in one process, and a loop over `Shelf.match` in this one on `--sample` of the
          swatches: processor seconds a swatch of each, and their ratio.
cores     the same sample in one worker and in two: the ratio of the clock, and of the processor's
          accounts, work of one worker / (work of two / 2 + the parent's). The latter does not hang
          on what else the machine does; it takes for granted that the two can run at once.
memory    the whole deck and a tenth of it: most memory of the parent and of any worker (Linux).
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path
from typing import Any

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # every contender has one core for each process

import fewtone  # noqa: E402

__all__ = ["munsell_deck"]

# A run in a process of its own, which tells its clock, its own and its children's accounts.
_RUN = """
import json, resource, sys, time
from multiprocessing import active_children
import fewtone

def most_mb(pid):
    with open(f"/proc/{pid}/status") as status:
        return next(int(line.split()[1]) / 1024 for line in status if line.startswith("VmHWM"))

most = {}
def look(done, total):
    for child in active_children():
        try:
            most[child.pid] = most_mb(child.pid)
        except (OSError, StopIteration):
            pass  # it has just ended

if __name__ == "__main__":
    shelf, deck, out, how = sys.argv[1:]
    start = time.perf_counter()
    told = fewtone.load(shelf).write_deck(deck, out, progress=look, **json.loads(how))
    clock = time.perf_counter() - start
    own = resource.getrusage(resource.RUSAGE_SELF)
    others = resource.getrusage(resource.RUSAGE_CHILDREN)
    print(json.dumps({
        "clock_s": clock,
        "own_s": own.ru_utime + own.ru_stime,
        "workers_s": others.ru_utime + others.ru_stime,
        "own_mb": most_mb("self"),
        "worker_mb": max(most.values(), default=0.0),
        "reached": told.summary.reached,
    }))
"""


def munsell_deck(file: Path, swatches: int) -> Path:
    """Write so many of the renotation's real colours as a deck, spread over all of them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        real = colour.MUNSELL_COLOURS["Munsell Colours Real"]
        white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["C"]
        rows = []
        for i in range(swatches):
            (hue, value, chroma), (x, y, luminance) = real[i * len(real) // swatches]
            xyz = colour.xyY_to_XYZ((x, y, luminance / 100.0))
            lab = colour.XYZ_to_Lab(xyz, white)
            rows.append([i + 1, *(round(float(v), 4) for v in lab), f"{hue} {value:g}/{chroma:g}"])
    with file.open("w", newline="", encoding="utf-8") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(["number", "L", "a", "b", "name", "light"])
        writer.writerows([*row, "C/2"] for row in rows)
    return file


def _run(shelf: Path, deck: Path, **how: Any) -> dict[str, float]:
    with tempfile.TemporaryDirectory(prefix="bench-deck-") as place:
        script = Path(place) / "run.py"
        script.write_text(_RUN, encoding="utf-8")
        words = [shelf, deck, Path(place) / "out.csv", json.dumps(how)]
        ran = subprocess.run(
            [sys.executable, str(script), *map(str, words)], check=True, capture_output=True
        )
    told: dict[str, float] = json.loads(ran.stdout)
    return told


def _speed(shelf: Path, deck: Path, sample: Path, how: dict[str, Any]) -> None:
    loaded = fewtone.load(shelf)
    with sample.open(encoding="utf-8") as file:
        numbers = [row["number"] for row in csv.DictReader(file)]
    targets = [loaded.target(number, deck=sample) for number in numbers]
    rules = {"max_toners": how["max_toners"]}
    start = time.process_time()
    if how["would_help"]:
        for target in targets:
            loaded.match(target, **rules)
    else:
        from fewtone.match.search import search
        from fewtone.recipes.rules import Rules

        kept = Rules.of(loaded.settings, **rules)
        for target in targets:
            search(loaded.curves, loaded.settings, target, kept)
    loop = (time.process_time() - start) / len(targets)
    start = time.process_time()
    rows = len(loaded.deck(deck, workers=1, **how))
    whole = (time.process_time() - start) / rows
    print(
        f"  one process: {whole:.4f} s of a processor a swatch; a loop over match takes {loop:.4f} "
        f"s, {loop / whole:.2f} times as long"
    )


def _cores(shelf: Path, deck: Path, how: dict[str, Any]) -> None:
    one, two = (_run(shelf, deck, workers=workers, **how) for workers in (1, 2))
    # One worker is the process itself: what it does before the first swatch is the parent's too.
    work = one["own_s"]
    accounts = work / (two["workers_s"] / 2 + two["own_s"])
    print(
        f"  two workers: {one['clock_s'] / two['clock_s']:.2f} times as fast by the clock, "
        f"{accounts:.2f} by the processor's accounts ({work:.1f} s alone; "
        f"{two['workers_s']:.1f} s in two, {two['own_s']:.1f} s in the parent)"
    )


def _memory(shelf: Path, deck: Path, short: Path, how: dict[str, Any]) -> None:
    start = time.perf_counter()
    large = _run(shelf, deck, workers=2, **how)
    clock = time.perf_counter() - start
    small = _run(shelf, short, workers=2, **how)
    with deck.open(encoding="utf-8") as file:
        count = sum(1 for _ in file) - 1
    print(
        f"  {count} swatches, {large['reached']:.0f} reached: {count / clock:.1f} a second by the "
        f"clock on two workers; most memory {large['own_mb']:.0f} MB in the parent, "
        f"{large['worker_mb']:.0f} MB in a worker; a tenth of them {small['own_mb']:.0f} and "
        f"{small['worker_mb']:.0f} MB: {large['own_mb'] / small['own_mb']:.2f} and "
        f"{large['worker_mb'] / small['worker_mb']:.2f} times as much"
    )


def _main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--swatches", type=int, default=2000)
    parser.add_argument("--sample", type=int, default=100)
    parser.add_argument("--toners", type=int, action="append")
    parser.add_argument("--without-help", action="store_true")
    parser.add_argument("--part", choices=("speed", "cores", "memory"), action="append")
    said = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="bench-deck-") as place:
        folder = Path(place)
        shelf = folder / "lamp-bench"
        fewtone.new(shelf, demo=True)
        fewtone.learn(shelf)
        deck, short, sample = (
            munsell_deck(folder / f"{name}.csv", count)
            for name, count in (
                ("deck", said.swatches),
                ("short", said.swatches // 10),
                ("sample", said.sample),
            )
        )
        for toners in said.toners or (2, 3):
            how = {"max_toners": toners, "would_help": not said.without_help}
            print(
                f"up to {toners} toners, {said.swatches} swatches, sample {said.sample}", flush=True
            )
            for part in said.part or ("speed", "cores", "memory"):
                if part == "speed":
                    _speed(shelf, deck, sample, how)
                elif part == "cores":
                    _cores(shelf, sample, how)
                else:
                    _memory(shelf, deck, short, how)
                sys.stdout.flush()


if __name__ == "__main__":
    _main()
