"""Every recipe that may be within a radius of a target, and the colours of those that matter."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache

import numpy as np

from fewtone.recipes.evaluate import Evaluator, Films, largest_difference
from fewtone.recipes.keys import Candidates
from fewtone.recipes.lattice import Lattice
from fewtone.search.bounds.exponentials import exponentials_of
from fewtone.search.bounds.haze import HazeRanges
from fewtone.search.bounds.shells import Shells
from fewtone.search.hazy import HazySweep
from fewtone.search.listed import ListedSweep, Lists
from fewtone.search.sweep import Sweep, sums_of
from fewtone.typing import FloatArray, IntArray

__all__ = ["best_first", "everything", "sweeps_of"]

# Colours worked out at once: their intermediate arrays then stay within the processor's cache.
_BATCH = 2048


def sweeps_of(
    evaluator: Evaluator,
    lattice: Lattice,
    supports: IntArray,
    radius: FloatArray,
    kinds: IntArray | None = None,
    lists: Lists | None = None,
) -> Iterator[Sweep | HazySweep | ListedSweep]:
    """Sweeps over supports without a toner that scatters, and over those with one.

    Parameters
    ----------
    evaluator
        The shelf and its targets.
    lattice
        All ratios and loads.
    supports
        The sets of toners, shape ``(n_supports, size)``.
    radius
        ΔE00 within which colours are wanted by their kind, shape ``(n_kinds,)``.
    kinds
        Of each ratio at each load, shape ``(n_ratios, n_loads)``; their sums of parts if None.
    lists
        Lists of lattices that many targets are asked of.
    """
    scatters = (evaluator.curves.scattering[evaluator.toners] != 0.0).max(axis=1)
    hazy = scatters[supports].max(axis=1)
    films, loads = evaluator.films, tuple(lattice.load_values.tolist())
    targets = evaluator.target_labs
    if not hazy.all():
        shells, clear, colours = _shells(films, loads), supports[~hazy], None
        if lists is not None:
            all_kinds = sums_of(lattice, supports.shape[1]) if kinds is None else kinds
            wanted = np.array(np.nonzero(all_kinds > 0))
            key = (films, loads, lattice.rules, clear.tobytes(), kinds is None or kinds.tobytes())
            colours = lists.of(key, shells, lattice, clear, wanted)
            if colours is not None:
                yield ListedSweep(colours, shells, lattice, clear, targets, radius, all_kinds)
        if colours is None:
            yield Sweep(shells, lattice, clear, targets, radius, kinds)
    if hazy.any():
        yield HazySweep(_haze_ranges(films, loads), lattice, supports[hazy], targets, radius, kinds)


# What bounds stand on depends on the films, the loads and the light alone: a process that matches
# many targets against one shelf makes it once.
@lru_cache(maxsize=8)
def _shells(films: Films, loads: tuple[float, ...]) -> Shells:
    return Shells(exponentials_of(films), np.array(loads))


@lru_cache(maxsize=2)
def _haze_ranges(films: Films, loads: tuple[float, ...]) -> HazeRanges:
    return HazeRanges(films, np.array(loads))


def best_first(
    evaluators: Sequence[Evaluator],
    loads: FloatArray,
    candidates: Candidates,
    radius: FloatArray,
    kind_of: Callable[[Candidates], IntArray],
) -> Iterator[Candidates]:
    """Work candidates out, those of the least bounds first, in batches.

    Parameters
    ----------
    evaluators
        The shelf and what is asked for.
    loads
        The lattice's loads, shape ``(n_loads,)``.
    candidates
        Places, with lower bounds of their ΔE00.
    radius
        ΔE00 within which candidates are wanted by their kind, shape ``(n_kinds,)``, which may be
        lowered meanwhile: others are left out.
    kind_of
        Their kinds, shape ``(n,)``.
    """
    order = np.argsort(candidates.de00)
    for start in range(0, len(order), _BATCH):
        batch = candidates.where(order[start : start + _BATCH])
        batch = batch.where(np.flatnonzero(batch.de00 <= radius[kind_of(batch)]))
        if len(batch.load):
            fractions = evaluators[0].fractions(batch.support, batch.parts)
            off = largest_difference(evaluators, fractions, loads[batch.load], batch.ground)
            yield batch._replace(de00=off)


def everything(lattice: Lattice, supports: IntArray) -> Iterator[Candidates]:
    """Every point of the lattice on some supports, in batches, ΔE00 still to come.

    A film's grounds stand next to each other.

    Parameters
    ----------
    lattice
        The admissible recipes.
    supports
        Positions of the toners, shape ``(n_supports, size)``.
    """
    films = np.indices((len(lattice.loads), len(lattice.rules.grounds))).reshape(2, -1)
    ratios = lattice.ratios(supports.shape[1])
    blends = len(supports) * len(ratios)
    step = max(1, _BATCH // films.shape[1])
    for start in range(0, blends, step):
        support, ratio = np.divmod(np.arange(start, min(blends, start + step)), len(ratios))
        rows = np.repeat(np.arange(len(support)), films.shape[1])
        load, ground = (np.tile(axis, len(support)) for axis in films)
        yield Candidates(supports[support[rows]], ratios[ratio[rows]], load, ground, np.empty(0))
