"""Times learning against a general least-squares solver of the same run, and how it grows.

    python tests/benchmarks/bench_learn.py [--growth]

Without options: 12 toners at ten readings each, sprayed and read in the booth, as spectra and as
Lab; beside them `scipy.optimize.least_squares` with the same residuals, priors, slopes and start,
to which the problem is one dense Jacobian. With `--growth`: shelves up to 60 toners and 1,000
readings. Medians of three runs, one core.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # before numpy is loaded: every contender has one core
sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np  # noqa: E402
from scipy.optimize import least_squares  # noqa: E402

from booth import Booth, lamp_grounds, random_blends, random_toners  # noqa: E402
from fewtone.io.readings import load_readings  # noqa: E402
from fewtone.io.settings import load_settings  # noqa: E402
from fewtone.learning import estimate  # noqa: E402
from fewtone.learning.forward import Problem  # noqa: E402
from fewtone.learning.noise import Noise  # noqa: E402
from fewtone.learning.observations import observe  # noqa: E402
from fewtone.learning.parameters import shared_prior  # noqa: E402
from fewtone.learning.starts import starting_point  # noqa: E402
from fewtone.model.readings import Readings  # noqa: E402
from fewtone.model.shelf import ShelfSettings  # noqa: E402
from fewtone.typing import FloatArray, IntArray  # noqa: E402

_REPEATS = 3
_KINDS: dict[str, tuple[str, ...]] = {"spectra": (), "Lab": ("D65/10",)}
# Toners and blend panels beside their ten readings each: 60 toners with 400 are 1,000 readings.
_SIZES = ((6, 0), (12, 0), (24, 0), (40, 0), (60, 0), (60, 400))


def main() -> None:
    """Run what was asked for and print it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--growth", action="store_true", help="up to 60 toners, 1,000 readings")
    if parser.parse_args().growth:
        _growth()
    else:
        _twelve_toners()


def _twelve_toners() -> None:
    for kind, lights in _KINDS.items():
        settings, readings = _shelf(12, 0, lights)
        learning = _median(lambda s=settings, r=readings: estimate(s, r))  # type: ignore[misc]
        problem, start = _problem(settings, readings)
        general = _median(lambda p=problem, s=start: _general(p, s))  # type: ignore[misc]
        print(
            f"{kind:8} 12 toners, {len(readings.items)} readings: learnt, with report, in "
            f"{learning:.2f} s; the fit alone by the general solver {general:.2f} s "
            f"({general / learning:.1f} times)",
            flush=True,
        )


def _growth() -> None:
    for kind, lights in _KINDS.items():
        points = []
        for toners, blends in _SIZES:
            settings, readings = _shelf(toners, blends, lights)
            seconds = _median(lambda s=settings, r=readings: estimate(s, r))  # type: ignore[misc]
            points.append((len(readings.items), seconds))
            print(
                f"{kind:8} {toners:3} toners {len(readings.items):5} readings {seconds:7.2f} s",
                flush=True,
            )
        count, seconds_each = np.log(np.array(points)).T
        print(f"{kind:8} grows as readings^{np.polyfit(count, seconds_each, 1)[0]:.2f}")


def _median(run: Callable[[], object]) -> float:
    seconds = []
    for _ in range(_REPEATS):
        start = time.perf_counter()
        run()
        seconds.append(time.perf_counter() - start)
    return statistics.median(seconds)


def _shelf(toners: int, blends: int, lights: tuple[str, ...]) -> tuple[ShelfSettings, Readings]:
    rng = np.random.default_rng(12)
    booth = Booth(random_toners(rng, toners), lamp_grounds(), rng)
    steps = booth.letdown_set()
    if blends:
        mixed = random_blends(rng, toners, blends)
        for i in range(blends):
            blend = {n: int(p) for n, p in zip(booth.names, mixed.parts[i], strict=True) if p}
            steps.append(
                booth.single(
                    blend,
                    int(mixed.medium_parts[i]),
                    int(mixed.coats[i]),
                    booth.grounds[i % len(booth.grounds)].name,
                )
            )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        booth.write_shelf(folder, steps, lights)
        settings = load_settings(folder)
        return settings, load_readings(folder, settings)


def _problem(settings: ShelfSettings, readings: Readings) -> tuple[Problem, FloatArray]:
    """The fit as the general solver has it: all parameters in one vector, and where to begin."""
    noise = Noise(0.002, 0.0005, settings.measurement.repeat_sd)
    problem = Problem(
        observe(settings, readings), settings.measurement.optics, settings.mixing, noise
    )
    at = starting_point(problem)
    return problem, np.concatenate([at.shared, at.log_build, at.log_gain])


def _general(problem: Problem, start: FloatArray) -> None:
    at = starting_point(problem)
    mean, precision = shared_prior(problem.layout, problem.seen.wavelength_nm)
    n_shared, n_build = at.shared.size, at.log_build.size
    root = np.linalg.cholesky(precision).T
    own_roots = [np.linalg.cholesky(group.precision).swapaxes(1, 2) for group in problem.groups]

    def unpacked(vector: FloatArray) -> object:
        shared, build, gain = np.split(vector - start, [n_shared, n_shared + n_build])
        return at.moved(shared, build, gain)

    def places(i: int) -> list[IntArray]:
        group = problem.groups[i]
        rows = []
        for j in range(len(group.panels)):
            own = [*(n_shared + group.segments[j]), n_shared + n_build + group.panels[j]]
            rows.append(np.array(own, dtype=np.intp))
        return rows

    local_places = [places(i) for i in range(len(problem.groups))]

    def residuals(vector: FloatArray) -> FloatArray:
        found = problem.residuals(unpacked(vector))  # type: ignore[arg-type]
        assert found is not None
        parts = [part.ravel() for part in found]
        parts.append(root @ (vector[:n_shared] - mean))
        for roots, rows in zip(own_roots, local_places, strict=True):
            parts += [r @ vector[row] for r, row in zip(roots, rows, strict=True) if row.size]
        return np.concatenate(parts)

    def derivatives(vector: FloatArray) -> FloatArray:
        blocks = []
        for i, linear in enumerate(problem.linearise(unpacked(vector))):  # type: ignore[arg-type]
            for j, row in enumerate(local_places[i]):
                block = np.zeros((linear.residual.shape[1], start.size))
                block[:, problem.groups[i].shared] = linear.shared[j]
                block[:, row] = linear.local[j]
                blocks.append(block)
        block = np.zeros((n_shared, start.size))
        block[:, :n_shared] = root
        blocks.append(block)
        for roots, rows in zip(own_roots, local_places, strict=True):
            for r, row in zip(roots, rows, strict=True):
                if row.size:
                    block = np.zeros((row.size, start.size))
                    block[:, row] = r
                    blocks.append(block)
        return np.concatenate(blocks)

    least_squares(residuals, start, jac=derivatives, xtol=1e-6, ftol=1e-6, max_nfev=60)


if __name__ == "__main__":
    main()
