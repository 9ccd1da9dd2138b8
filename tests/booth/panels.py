"""A spraying booth: true toners and grounds, a hand that varies, an instrument that is noisy.

A finisher's hand lays down film build = panel factor x factor of each coat; the coats of a
letdown strip share the panel's factor, and its later steps contain the earlier coats. Factors are
log-normal with mean 1. The instrument reads reflectance factors with relative and absolute noise,
or Lab with a noise of its own per coordinate and light. Nothing here knows the package.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TypeAlias

import numpy as np
from numpy.random import Generator
from numpy.typing import ArrayLike, NDArray

from booth.colours import lab
from booth.dyes import GRID_NM, TrueGround, TrueToner
from booth.files import Step, shelf_text, write_table
from booth.optics import reflectance
from booth.paints import PaintGround
from booth.recipes import Blends
from booth.worlds import World

__all__ = ["Booth", "Step"]

Array = NDArray[np.float64]
Grounds: TypeAlias = str | Sequence[str] | NDArray[np.int64]

STRIP_COATS = (1, 2, 3, 4, 6)


class Booth:
    """True toners and grounds, one geometry, one hand, one instrument, one Generator, one world.

    The arrays of `toners` and `grounds` lie on `wavelength_nm`. Coefficients of variation and
    noise are fractions, `lab_noise` is per coordinate [CIELAB units].
    """

    def __init__(
        self,
        toners: Sequence[TrueToner],
        grounds: Sequence[TrueGround | PaintGround],
        rng: Generator,
        *,
        wavelength_nm: ArrayLike = GRID_NM,
        geometry: str = "45:0",
        film_index: float = 1.5,
        panel_cv: float = 0.0,
        coat_cv: float = 0.04,
        relative_noise: float = 0.002,
        absolute_noise: float = 0.0005,
        lab_noise: float = 0.1,
        world: World | None = None,
    ) -> None:
        self.toners = tuple(toners)
        self.grounds = tuple(grounds)
        self.rng = rng
        self.wavelength_nm = np.asarray(wavelength_nm, dtype=np.float64)
        self.geometry = geometry
        self.film_index = film_index
        self.panel_cv = panel_cv
        self.coat_cv = coat_cv
        self.relative_noise = relative_noise
        self.absolute_noise = absolute_noise
        self.lab_noise = lab_noise
        self.world = world or World()
        forward = {toner.asymmetry for toner in toners} - {0.0}
        if len(forward) > 1:
            raise ValueError(f"one phase function at a time, not asymmetries {sorted(forward)}")
        self._asymmetry = forward.pop() if forward else 0.0
        self._panels = 0
        # Grounds have draws of their own, so that the hand's and the instrument's stay as they are.
        self._ground_rng = rng.spawn(1)[0]

    @property
    def names(self) -> tuple[str, ...]:
        """Toner names, in the order of every `fractions` array's last axis."""
        return tuple(toner.name for toner in self.toners)

    # ---- the truth, without noise

    def true_reflectance(
        self,
        fractions: ArrayLike,
        load: ArrayLike,
        ground: Grounds,
        *,
        level: ArrayLike = 1.0,
        turn: ArrayLike = 1.0,
    ) -> Array:
        """Return the spectra that the instrument would read without noise `(..., n_wavelengths)`.

        `fractions` `(..., n_toners)` of the blend, `load` `(...)` in standard coats per
        (1 + letdown), `ground` one name, names `(...)` or places `(...)`, `level` and `turn` as in
        `Step`; all broadcast.
        """
        mix = np.asarray(fractions, dtype=np.float64)
        dose = np.asarray(load, dtype=np.float64)
        place = self._ground_places(ground)
        each = (place, np.asarray(level, dtype=np.float64), np.asarray(turn, dtype=np.float64))
        shape = np.broadcast_shapes(mix.shape[:-1], dose.shape, *(values.shape for values in each))
        mix = mix * dose[..., None]
        grid = (*shape, self.wavelength_nm.size)
        absorbed, scattered, forward = (
            np.broadcast_to(mix @ depths, grid)
            for depths in (
                np.stack([toner.absorption for toner in self.toners]),
                np.stack([toner.scattering * (not toner.asymmetry) for toner in self.toners]),
                np.stack([toner.scattering * bool(toner.asymmetry) for toner in self.toners]),
            )
        )
        places, levels, turns = (np.broadcast_to(values, shape) for values in each)
        out = np.empty(grid)
        for i, turned in sorted(
            {*zip(places.ravel().tolist(), turns.ravel().tolist(), strict=True)}
        ):
            true, here = self.grounds[int(i)], (places == i) & (turns == turned)
            if isinstance(true, PaintGround):
                for band, kernel in enumerate(true.kernels(self.film_index, float(turned))):
                    out[here, band] = reflectance(
                        absorbed[here, band],
                        levels[here],
                        kernel,
                        geometry=self.geometry,
                        index=self.film_index,
                        scattering=scattered[here, band],
                        forward=forward[here, band],
                        asymmetry=self._asymmetry,
                        edge=self.world.edge,
                    )
                continue
            out[here] = reflectance(
                absorbed[here],
                np.minimum(true.reflectance * levels[here][:, None], 0.99),
                true.lobe.turned(turned),
                geometry=self.geometry,
                index=self.film_index,
                scattering=scattered[here],
                forward=forward[here],
                asymmetry=self._asymmetry,
                edge=self.world.edge,
            )
        return out + self.world.black

    def true_load(self, blends: Blends) -> Array:
        """Load of recipes `(n,)` as they come out in this world, sprayed with a careful hand."""
        strength = self.world.strength(blends.medium_parts)
        return np.asarray(
            self.world.film_build(blends.coats) * strength / (1.0 + blends.medium_parts)
        )

    def true_lab(
        self, fractions: ArrayLike, load: ArrayLike, ground: Grounds, light: str = "D65/10"
    ) -> Array:
        """Return noise-free CIELAB `(..., 3)`; arguments as `true_reflectance`."""
        spectra = self.true_reflectance(fractions, load, ground)
        return lab(spectra, self.wavelength_nm, light)

    def fractions(self, blend: Mapping[str, int | float]) -> Array:
        """Return a blend's volume fractions `(n_toners,)`; all zero for bare ground or medium."""
        parts = np.array([float(blend.get(name, 0.0)) for name in self.names])
        unknown = set(blend) - set(self.names)
        if unknown:
            raise KeyError(f"toners not in this booth: {sorted(unknown)}")
        return parts / parts.sum() if parts.any() else parts

    # ---- the hand

    def bare(self, ground: str, times: int = 3, **extra: str) -> list[Step]:
        """Return the bare ground under clear, to be read `times` over."""
        level, turn = self._ground_as_laid()
        panel = self._panel_id()
        return [Step(panel, ground, {}, None, 0, 0.0, **extra, level=level, turn=turn)] * times

    def strip(
        self,
        blend: Mapping[str, int | float],
        medium_parts: float,
        coats: Iterable[int],
        ground: str,
        **extra: str,
    ) -> list[Step]:
        """Spray one letdown strip: its steps share the panel's hand and the earlier coats."""
        steps = sorted(coats)
        coat_builds = self.world.coat_builds(steps[-1])
        films = self._panel_factor() * np.cumsum(
            coat_builds * self._factors(self.coat_cv, steps[-1])
        )
        panel = self._panel_id()
        level, turn = self._ground_as_laid()
        return [
            Step(
                panel,
                ground,
                dict(blend),
                medium_parts,
                c,
                float(films[c - 1]),
                **extra,
                level=level,
                turn=turn,
            )
            for c in steps
        ]

    def single(
        self,
        blend: Mapping[str, int | float],
        medium_parts: float,
        coats: int,
        ground: str,
        **extra: str,
    ) -> Step:
        """Spray one panel of its own."""
        return self.strip(blend, medium_parts, [coats], ground, **extra)[0]

    def letdown_set(
        self,
        *,
        strips: bool = False,
        over: Sequence[str] = ("white", "silver"),
        coats: Sequence[int] = STRIP_COATS,
        medium_parts: float | Sequence[float] = 6,
        bare_times: int = 3,
    ) -> list[Step]:
        """Spray what a finisher sprays of a new shelf: every toner alone, and all bare grounds.

        With `strips` the coats of a toner over a ground are one strip; otherwise every coat is a
        panel of its own. `medium_parts` may have one letdown for each ground of `over`.
        """
        letdowns = np.broadcast_to(medium_parts, len(over)).tolist()
        steps = [s for ground in self.grounds for s in self.bare(ground.name, bare_times)]
        for name in self.names:
            for ground, letdown in zip(over, letdowns, strict=True):
                if strips:
                    steps += self.strip({name: 1}, letdown, coats, ground)
                else:
                    steps += [self.single({name: 1}, letdown, c, ground) for c in coats]
        return steps

    def fresh_labs(
        self,
        blends: Blends,
        ground: Grounds,
        *,
        times: int,
        light: str = "D65/10",
        pour_cv: float = 0.0,
        read_noise: bool = True,
    ) -> Array:
        """Mix, spray and read every recipe `times` over on fresh panels: `(times, n, 3)`."""
        count = blends.coats.size
        parts = blends.fractions * self._factors(pour_cv, times, count, len(self.toners))
        blend_volume = parts.sum(axis=-1)
        medium = blends.medium_parts * self._factors(pour_cv, times, count)
        most = int(blends.coats.max())
        each = self.world.coat_builds(most) * self._factors(self.coat_cv, times, count, most)
        sprayed = np.arange(each.shape[-1]) < blends.coats[:, None]
        build = (each * sprayed).sum(axis=-1) * self._factors(self.panel_cv, times, count)
        load = build * blend_volume / (blend_volume + medium)
        load = load * self.world.strength(medium / blend_volume)
        level, turn = (
            values.reshape(times, count)
            for values in self.world.grounds(self._ground_rng, times * count)
        )
        spectra = self.true_reflectance(
            parts / blend_volume[..., None], load, ground, level=level, turn=turn
        )
        true = lab(spectra, self.wavelength_nm, light)
        return true + self.lab_noise * read_noise * self.rng.standard_normal(true.shape)

    # ---- the instrument

    def true_spectra(self, steps: Sequence[Step]) -> Array:
        """Return what the instrument reads of the panels, but for noise `(n, n_wavelengths)`."""
        mix = np.stack([self.fractions(step.blend) for step in steps])
        load = np.array(
            [
                step.build * float(self.world.strength(m)) / (1.0 + m)
                for step in steps
                for m in [step.medium_parts or 0.0]
            ]
        )
        return self.true_reflectance(
            mix,
            load,
            [step.ground for step in steps],
            level=np.array([step.level for step in steps]),
            turn=np.array([step.turn for step in steps]),
        )

    def read_spectra(self, steps: Sequence[Step]) -> Array:
        """Read the panels' reflectance factors, with noise `(n, n_wavelengths)`."""
        return self._with_noise(self.true_spectra(steps), self.rng)

    def read_labs(
        self, steps: Sequence[Step], lights: Sequence[str] = ("D65/10",)
    ) -> dict[str, Array]:
        """Read the panels' CIELAB under each light, with noise; light → `(n, 3)`."""
        true = self.true_spectra(steps)
        noise = self.lab_noise * self.rng.standard_normal((len(lights), len(steps), 3))
        if self.world.dark_noise:
            true = self._with_noise(true, self._ground_rng)
        return {
            light: lab(true, self.wavelength_nm, light) + own
            for light, own in zip(lights, noise, strict=True)
        }

    def _with_noise(self, true: Array, rng: Generator) -> Array:
        relative, absolute = rng.standard_normal((2, *true.shape))
        noise = self.relative_noise * relative * true + self.absolute_noise * absolute
        return np.asarray(true + noise)

    # ---- the files

    def write_readings(
        self,
        path: Path,
        steps: Sequence[Step],
        lights: Sequence[str] = (),
        told: Sequence[Step] | None = None,
    ) -> None:
        """Read the panels and write readings.csv: spectra, or Lab under `lights` if any is given.

        The first light is the shelf's own (columns L, a, b). `told` is what the finisher wrote
        down of each panel, where that is not what was sprayed.
        """
        if lights:
            values = np.concatenate(list(self.read_labs(steps, lights).values()), axis=1)
            columns = [*"Lab", *(f"{axis} {light}" for light in lights[1:] for axis in "Lab")]
            decimals = 2
        else:
            # An instrument's print-out knows no reflectance below zero.
            values = np.maximum(self.read_spectra(steps), 0.0)
            columns = [f"{nm:g}" for nm in self.wavelength_nm]
            decimals = 4
        write_table(path, told or steps, columns, values.round(decimals), decimals)

    def write_shelf(
        self,
        folder: Path,
        steps: Sequence[Step],
        lights: Sequence[str] = (),
        *,
        settings: str | None = None,
        told: Sequence[Step] | None = None,
    ) -> None:
        """Write a shelf: shelf.toml (the booth's own unless `settings` is given), readings.csv."""
        folder.mkdir(parents=True, exist_ok=True)
        text = settings or self.settings_text(lights[0] if lights else "D65/10")
        (folder / "shelf.toml").write_text(text, encoding="utf-8", newline="\n")
        self.write_readings(folder / "readings.csv", steps, lights, told)

    def settings_text(self, light: str = "D65/10") -> str:
        """Return a plain shelf.toml for this booth."""
        says = self.world
        return shelf_text(
            light=light,
            toners=self.names,
            grounds={g.name: g.kind for g in self.grounds if "+" not in g.name},
            geometry=says.says_geometry or self.geometry,
            film_index=says.says_film_index or self.film_index,
            repeat_sd=self.lab_noise,
            panel_cv=self.panel_cv if says.says_panel_cv is None else says.says_panel_cv,
            coat_cv=self.coat_cv,
        )

    # ---- helpers

    def _factors(self, cv: float, *shape: int) -> Array:
        """Return log-normal factors of mean 1; the draw is made even when `cv` is 0."""
        spread = np.sqrt(np.log1p(cv**2))
        return np.asarray(np.exp(spread * self.rng.standard_normal(shape) - 0.5 * spread**2))

    def _panel_factor(self) -> float:
        return float(self._factors(self.panel_cv, 1)[0])

    def _ground_as_laid(self) -> tuple[float, float]:
        level, turn = self.world.grounds(self._ground_rng, 1)
        return float(level[0]), float(turn[0])

    def _panel_id(self) -> str:
        self._panels += 1
        return f"P{self._panels:03d}"

    def _ground_places(self, ground: Grounds) -> NDArray[np.int64]:
        names = [true.name for true in self.grounds]
        if isinstance(ground, str):
            return np.asarray(names.index(ground), dtype=np.int64)
        if isinstance(ground, np.ndarray) and np.issubdtype(ground.dtype, np.integer):
            return ground.astype(np.int64)
        return np.asarray([names.index(str(name)) for name in ground], dtype=np.int64)
