"""A worked job: the bench is asked for swatch 108, "Beet soup", on a lamp body.

Everything here is invented: the shelf, the deck of swatches and the job. Run it from anywhere:

    python examples/worked_job.py
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import fewtone

DECK = Path(__file__).with_name("swatches.csv")


def main() -> None:
    """Learn the shelf, match the swatch, and check the answer before mixing."""
    with tempfile.TemporaryDirectory() as folder:
        bench = Path(folder) / "lamp-bench"

        # 1. Know the shelf: the readings of its letdown panels become curves.
        fewtone.new(bench, demo=True)
        report = fewtone.learn(bench)
        print(f"learnt {len(report.toners)} toners from {report.readings} readings")

        # 2. Take the request to numbers.
        shelf = fewtone.load(bench)
        target = shelf.target("108", deck=DECK)
        print(f"asked for {target.name}: {target.lab} in {target.light}")

        # 3. Find the mix: two toners at most, over the silver or the brass ground.
        found = shelf.match(target, max_toners=2, grounds=["silver", "brass"])
        simplest = found.simplest
        if simplest is None:
            print(f"not on this shelf: {found.closest.recipe} misses by {found.closest.de00:.1f}")
            return
        print(f"simplest: {simplest.recipe}")
        print(f"  Delta E {simplest.de00:.2f}, unevenness {simplest.unevenness:.1f}")
        for other in found.recipes:
            print(f"  or {other.recipe}: Delta E {other.de00:.2f}")

        # 4. Check it before mixing, a coat more and a coat less too.
        for coats in (-1, 0, 1):
            recipe = simplest.recipe.with_(coats=simplest.recipe.coats + coats)
            check = shelf.check(recipe, target=target)
            print(f"{recipe}: Delta E {check.match.de00:.2f}, {check.direction}")


if __name__ == "__main__":
    main()
