"""Every colour of a lattice, kept from one target to the next: what a deck asks by the thousand.

Colours come from the sums of exponentials (`fewtone.search.bounds.exponentials`), as square roots
of X, Y and Z in steps of 16 bits, sorted by Y. A target then costs a look at those within its
windows, and the same bounds as in a sweep. A lattice is listed, if it is not too large, once its
sweeps have cost about a fifth of what listing it does: so early that a deck of 200 takes the
memory of one of 2,000. Processes that share a folder make each list once among them: one makes it
while the others sweep on, then all map its file into their memory, which they share as well.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Hashable, Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fewtone.recipes.keys import Candidates
from fewtone.recipes.lattice import Lattice
from fewtone.search.bounds.exponentials import FLOOR
from fewtone.search.bounds.shells import Shells
from fewtone.search.bounds.slices import slices_of, within
from fewtone.search.bounds.windows import window_of
from fewtone.search.sweep import BOUNDS
from fewtone.typing import FloatArray, IntArray

__all__ = ["ListedSweep", "Lists"]

# A lattice is listed when it has been asked for once for so many of its colours.
_COLOURS_A_SWEEP = 500_000
# So many colours are kept at most, of ten bytes each.
_MOST = 20_000_000
# Films worked out at once: their terms then stay within the processor's cache.
_FILMS = 1024
# Steps of the square root in 16 bits, up to beyond any film's; how many a colour may be off.
_STEP, _OFF = 1.25 / 65535.0, 1.0


class Lists:
    """Lists of the lattices that were asked for often enough.

    Parameters
    ----------
    folder
        Where processes share them; None if this one keeps its own. It goes with their work: what
        a process that was ended left half done stays half done.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self._folder = folder
        self._names: dict[Hashable, str] = {}
        self._asked: dict[Hashable, int] = {}
        self._lists: dict[Hashable, _List] = {}
        self._room = _MOST

    def __len__(self) -> int:
        """How many there are."""
        return len(self._lists)

    def of(
        self, key: Hashable, shells: Shells, lattice: Lattice, supports: IntArray, wanted: IntArray
    ) -> _List | None:
        """The list of all colours of some supports at some ratios and loads; None if there is none.

        Parameters
        ----------
        key
            What tells these colours from others in this process.
        shells
            What their sums of exponentials are of.
        lattice
            All ratios and loads.
        supports
            The sets of toners, shape ``(n_supports, size)``.
        wanted
            Places of the ratio and the load of each, shape ``(2, n_pairs)``.
        """
        if key in self._lists:
            return self._lists[key]
        colours = len(supports) * wanted.shape[1] * len(shells.sums.matrix)
        if colours > self._room:
            return None
        if key not in self._names:
            self._names[key] = _name(shells, lattice, supports, wanted)
        made = self._shared(self._names[key], wanted)
        if made is None:
            if self._count(key) * _COLOURS_A_SWEEP < colours or not self._claims(self._names[key]):
                return None
            made = self._share(self._names[key], _listed(shells, lattice, supports, wanted))
        self._room -= colours
        self._lists[key] = made
        return made

    def _count(self, key: Hashable) -> int:
        """How often this list was asked for, by all who share it."""
        self._asked[key] = self._asked.get(key, 0) + 1
        if self._folder is not None:
            with contextlib.suppress(OSError), (self._folder / self._names[key]).open("ab") as file:
                file.write(b".")
                return file.tell()
        return self._asked[key]

    def _shared(self, name: str, pairs: IntArray) -> _List | None:
        """A list that is in the folder, mapped into memory; None if it is not there."""
        if self._folder is None:
            return None
        try:
            # The file of numbers is there before that of steps.
            steps, number = (
                np.asarray(np.load(self._folder / f"{name}-{part}.npy", mmap_mode="r"))
                for part in _List._fields[:2]
            )
        except (OSError, ValueError):
            return None
        return _List(steps, number, pairs)

    def _claims(self, name: str) -> bool:
        """Whether this process is to make a list: no other one is at it."""
        if self._folder is None:
            return True
        try:
            (self._folder / f"{name}-claimed").touch(exist_ok=False)
        except FileExistsError:
            return False
        except OSError:  # no room: each makes its own
            return True
        return True

    def _share(self, name: str, made: _List) -> _List:
        """A list, in the folder if there is one with room."""
        if self._folder is None:
            return made
        try:
            for part in ("number", "steps"):
                partly = self._folder / f"{name}-{part}-partly.npy"
                np.save(partly, getattr(made, part))
                partly.rename(self._folder / f"{name}-{part}.npy")
        except OSError:
            with contextlib.suppress(OSError):
                partly.unlink()
                (self._folder / f"{name}-claimed").unlink()
            return made
        return self._shared(name, made.pairs) or made


class _List(NamedTuple):
    """Colours in the order of Y: steps of X, Y and Z ``(3, n)``, and which they are ``(n,)``.

    Numbers count supports, then `pairs` of a ratio and a load ``(2, n_pairs)``, then grounds.
    """

    steps: NDArray[np.uint16]
    number: NDArray[np.uint32]
    pairs: IntArray


def _name(shells: Shells, lattice: Lattice, supports: IntArray, pairs: IntArray) -> str:
    """What tells a list's colours from others in all processes."""
    sums, size = shells.sums, supports.shape[1]
    digest = hashlib.sha256()
    for values in (
        *(sums.absorption, sums.rates, sums.constant, sums.matrix),
        *(lattice.load_values, lattice.ratios(size), supports, pairs),
    ):
        digest.update(f"{values.shape}".encode() + np.ascontiguousarray(values).tobytes())
    return digest.hexdigest()


def _listed(shells: Shells, lattice: Lattice, supports: IntArray, pairs: IntArray) -> _List:
    """All colours of some supports at pairs of a ratio and a load."""
    sums, (ratio, load) = shells.sums, pairs
    parts = lattice.ratios(supports.shape[1])[ratio]
    doses = parts / parts.sum(axis=1, keepdims=True) * lattice.load_values[load][:, np.newaxis]
    doses, absorption = doses.astype(np.float32), sums.absorption.astype(np.float32)
    matrix = np.concatenate(sums.matrix.transpose(2, 0, 1)).T.astype(np.float32)
    constant = np.repeat(sums.constant, len(sums.matrix)).astype(np.float32)
    n_grounds = len(sums.matrix)
    steps = np.empty((3, len(supports), len(doses), n_grounds), dtype=np.uint16)
    for row, support in enumerate(supports):
        for start in range(0, len(doses), _FILMS):
            some = slice(start, start + _FILMS)
            values = sums.terms(doses[some] @ absorption[support]) @ matrix
            values += constant
            np.sqrt(values, out=values)
            values *= np.float32(1.0 / _STEP)
            values += np.float32(0.5)
            steps[:, row, some] = values.reshape(-1, 3, n_grounds).transpose(1, 0, 2)
    flat = steps.reshape(3, -1)
    order = np.argsort(flat[1], kind="stable")
    return _List(flat[:, order], order.astype(np.uint32), pairs)


class ListedSweep:
    """What `fewtone.search.sweep.Sweep` finds, out of a list.

    Parameters
    ----------
    colours
        The list.
    shells, lattice, supports, target, radius, kinds
        As `fewtone.search.sweep.Sweep` takes them.

    Attributes
    ----------
    cut
        As that of `fewtone.search.sweep.Sweep`; all that is cut counts for the last bound.
    """

    def __init__(
        self,
        colours: _List,
        shells: Shells,
        lattice: Lattice,
        supports: IntArray,
        target: FloatArray,
        radius: FloatArray,
        kinds: IntArray,
    ) -> None:
        self.colours, self.shells, self.lattice, self.supports = colours, shells, lattice, supports
        self.target, self.radius, self.kinds = target, radius, kinds[tuple(colours.pairs)]
        self.cut = np.zeros((len(BOUNDS), len(radius)), dtype=np.int64)

    def candidates(self) -> Iterator[Candidates]:
        """What may be within the radius."""
        sums, (steps, number, pairs) = self.shells.sums, self.colours
        n_grounds = len(sums.matrix)
        wanted = self.radius >= 0.0
        near_rows, bounds = [np.zeros(0, dtype=np.int64)], [np.zeros(0)]
        for part in slices_of(self.target, float(self.radius.max())):
            window = window_of(sums, part)
            least, most = np.sqrt(np.maximum(window.least, 0.0)), np.sqrt(window.most)
            low = np.clip(least / _STEP - _OFF, 0.0, 65535.0).astype(np.uint16)
            high = np.clip(most / _STEP + _OFF + 1.0, 0.0, 65535.0).astype(np.uint16)
            first = int(np.searchsorted(steps[1], low[1]))
            after = int(np.searchsorted(steps[1], high[1], side="right"))
            x, z = steps[0, first:after], steps[2, first:after]
            inside = (x >= low[0]) & (x <= high[0]) & (z >= low[2]) & (z <= high[2])
            rows = first + np.flatnonzero(inside)
            radius = self.radius[self.kinds[number[rows] // n_grounds % pairs.shape[1]]]
            rows, radius = rows[radius >= 0.0], radius[radius >= 0.0]
            step = steps[:, rows].T.astype(np.float64)
            least = np.square(np.maximum(step - _OFF, 0.0) * _STEP)
            most = np.square((step + _OFF) * _STEP)
            least -= sums.error * (most + FLOOR) * 1.001 + sums.rounding * most
            most += sums.error * (most + FLOOR) * 1.001 + sums.rounding * most
            near, bound = within(part, least, most, self.target, radius)
            near_rows.append(rows[near])
            bounds.append(bound)
        # Slices overlap by what the sums are off.
        rows, once = np.unique(np.concatenate(near_rows), return_index=True)
        support, pair = np.divmod(number[rows] // n_grounds, pairs.shape[1])
        ratio, load = pairs[:, pair]
        whole = np.bincount(self.kinds, minlength=len(self.radius)) * len(self.supports)
        left = np.bincount(self.kinds[pair], minlength=len(self.radius))
        self.cut[-1] += np.where(wanted, whole * n_grounds - left, 0)
        yield Candidates(
            self.supports[support],
            self.lattice.ratios(self.supports.shape[1])[ratio],
            load,
            (number[rows] % n_grounds).astype(np.int64),
            np.concatenate(bounds)[once],
        )
