"""Times prediction against the same arithmetic in plain numpy, and against `numpy.exp` alone.

    python tests/benchmarks/bench_predict.py

`predict` takes recipes and gives reflectance and CIELAB; `reflectance` and `lab_of` are what
it does once recipes are arrays. The plain expression is a finisher's script for a coat without
surface reflection: Bouguer, Beer and Lambert, the light that the film traps read off a table by
`numpy.interp`, CIELAB. `numpy.exp` on as many values as there are wavelengths is a floor for what
any of them can cost. Medians of this run, one core.
"""

from __future__ import annotations

import os
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # before numpy is loaded: every contender has one core
sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np  # noqa: E402

from benchmarks.hard_case import LIGHT, hard_shelf  # noqa: E402
from fewtone.colorimetry import weights, white_point  # noqa: E402
from fewtone.model.recipe import Recipe  # noqa: E402
from fewtone.optics.integrals import internal_return  # noqa: E402
from fewtone.prediction.forward import lab_of, recipe_doses, reflectance  # noqa: E402
from fewtone.prediction.recipes import predict  # noqa: E402
from fewtone.typing import FloatArray  # noqa: E402

_RECIPES, _REPEATS = 20_000, 7
_LARGEST_DEPTH = 16.0
# The two agree to what reading the table off by straight lines is wrong by.
_AGREE = 1e-4


def main() -> None:
    """Time the four and print recipes per second and ratios."""
    curves, settings = hard_shelf()
    rng = np.random.default_rng(0)
    recipes = [
        Recipe(
            {str(name): int(rng.integers(1, 7)) for name in rng.choice(curves.toners, 3, False)},
            settings.mixing.medium_parts[int(rng.integers(len(settings.mixing.medium_parts)))],
            int(rng.integers(1, 9)),
            str(rng.choice(curves.grounds)),
        )
        for _ in range(_RECIPES)
    ]
    doses, ground = recipe_doses(curves, recipes)
    weight, white = weights(curves.wavelength_nm, LIGHT), white_point(LIGHT)
    root = np.linspace(0.0, np.sqrt(_LARGEST_DEPTH), 8192)
    grid = np.array(root**2)
    escape = curves.optics.terms(grid).escape
    none = float(escape[0])
    path = -float(np.log(curves.optics.terms(np.ones(1)).escape[0] / none))
    table = internal_return(grid, curves.optics.index)

    def plain() -> FloatArray:
        """The whole of it, written out."""
        tau = doses @ curves.absorption
        rho, t = curves.ground_reflectance[ground], curves.return_ratio[ground, np.newaxis]
        trapped = np.interp(np.sqrt(tau), root, table)
        first = t * (t**0.4 * trapped + (1.0 - t**0.4) * table[0] * np.exp(-2.5 * tau))
        again = rho * first / (1.0 - rho * t ** (1 / 3) * trapped)
        film = none * np.exp(-path * tau) * rho * (1.0 + again)
        ratio = film @ weight / white
        f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * (29 / 6) ** 2 / 3 + 4 / 29)
        x, y, z = f.T
        return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)

    def arrays() -> FloatArray:
        return lab_of(curves, reflectance(curves, doses, ground), LIGHT)

    values = rng.random((_RECIPES, len(curves.wavelength_nm)))
    apart = float(np.abs(plain() - arrays()).max())
    if apart > _AGREE:
        raise SystemExit(f"the plain expression is another one: Lab differ by {apart:.1e}")
    contenders: dict[str, Callable[[], object]] = {
        "predict, from recipes": lambda: predict(curves, recipes, LIGHT),
        "the same, from arrays": arrays,
        "plain numpy expression": plain,
        "numpy.exp, as many values": lambda: np.exp(values),
    }
    seconds: dict[str, list[float]] = {name: [] for name in contenders}
    for _ in range(_REPEATS):
        for name, contender in contenders.items():
            start = time.perf_counter()
            contender()
            seconds[name].append(time.perf_counter() - start)
    median = {name: statistics.median(times) for name, times in seconds.items()}
    exponentials = median["numpy.exp, as many values"]
    print(f"{_RECIPES:,} recipes at {len(curves.wavelength_nm)} wavelengths, one core")
    for name, taken in median.items():
        print(
            f"{name:28} {_RECIPES / taken:12,.0f} a second  {taken / exponentials:6.1f} times "
            f"numpy.exp  {taken / median['plain numpy expression']:6.2f} times plain"
        )


if __name__ == "__main__":
    main()
