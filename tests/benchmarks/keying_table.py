"""What keying the ground saves on dark targets of the demo shelf: coats, unevenness, chance.

``python tests/benchmarks/keying_table.py 40`` from the project's folder. The targets are colours
that the shelf can make, with three toners in odd parts over one of its grounds, darker than L* 35.
Each is matched over the grounds alone and over all mixes of two of them; next to the likeliest
recipe without keying stands the likeliest with it, its ground taken as read. It also times the
match with keying against that without, by the processor, in the same run.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np

import fewtone
from fewtone.match.result import Match, MatchResult

DARK, SEED = 35.0, 20_151


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("targets", type=int, nargs="?", default=40)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "lamp-bench"
        fewtone.new(folder, demo=True)
        fewtone.learn(folder)
        shelf = fewtone.load(folder)
    rows, ratios, better, wrong = [], [], 0, 0
    for target in _dark(shelf, asked.targets):
        plain, alone = _timed(shelf, target, keyed=False)
        found, both = _timed(shelf, target, keyed=True)
        ratios.append(both / alone)
        assert found.keying is not None
        wrong += sum(
            _figure(claim, each.match) >= _figure(claim, each.beside)
            for each in found.keying.proposals
            for claim in each.claims
            if claim != "reach"
        )
        if not found.keying.proposals or plain.surest is None:
            continue
        better += 1
        best = max(found.keying.proposals, key=lambda each: each.match.pass_probability or 0.0)
        rows.append([*_figures(plain.surest), *_figures(best.match), best.chance_now or 0.0])
    table = np.array(rows)
    print(f"{asked.targets} targets; keying betters {better}; claims that do not hold: {wrong}")
    names = ("coats", "unevenness", "passes")
    for place, what in enumerate(names):
        without, keyed = table[:, place], table[:, 3 + place]
        saved = keyed - without
        print(
            f"{what:11s} alone {without.mean():.2f}  keyed {keyed.mean():.2f}  "
            f"difference median {np.median(saved):+.2f}, "
            f"p10 {np.percentile(saved, 10):+.2f}, p90 {np.percentile(saved, 90):+.2f}"
        )
    print(f"passes before the ground is read: {table[:, 6].mean():.2f}")
    print(f"time with keying over without: median {np.median(ratios):.2f}, most {max(ratios):.2f}")


def _dark(shelf: fewtone.Shelf, count: int) -> list[tuple[float, ...]]:
    rng = np.random.default_rng(SEED)
    toners, grounds = list(shelf.curves.toners), list(shelf.curves.grounds)
    found: list[tuple[float, ...]] = []
    while len(found) < count:
        names = rng.choice(toners, 3, replace=False)
        parts = rng.integers(5, 60, 3)
        blend = " + ".join(f"{part} {name}" for part, name in zip(parts, names, strict=True))
        line = f"{blend}, {rng.integers(4, 9)}:1, {rng.integers(2, 7)} coats over "
        lab = shelf.predict(line + rng.choice(grounds)).lab[0]
        if lab[0] < DARK:
            found.append(tuple(float(value) for value in lab))
    return found


def _timed(
    shelf: fewtone.Shelf, target: tuple[float, ...], *, keyed: bool
) -> tuple[MatchResult, float]:
    least = np.inf
    for _ in range(3):
        start = time.process_time()
        found = shelf.match(target, keyed=keyed)
        least = min(least, time.process_time() - start)
    return found, float(least)


def _figure(claim: str, of: Match) -> float:
    return {
        "chance": -(of.pass_probability or 0.0),
        "coats": float(of.recipe.coats),
        "unevenness": of.unevenness,
    }[claim]


def _figures(of: Match) -> list[float]:
    return [float(of.recipe.coats), of.unevenness, of.pass_probability or 0.0]


if __name__ == "__main__":
    main()
