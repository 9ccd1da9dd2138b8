"""What ``shelf.toml`` says: how the shop measures and mixes, and what stands on the shelf."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from fewtone.colorimetry import Light
from fewtone.errors import Fault, UsageError
from fewtone.model.blend import Number
from fewtone.model.cup import Cup
from fewtone.model.keyed import GroundNames, parents_of
from fewtone.model.names import Names
from fewtone.model.recipe import Recipe, parse
from fewtone.optics.film import FilmOptics, Geometry

__all__ = [
    "LARGEST_PART",
    "MOST_COATS",
    "WEAKEST_LETDOWN",
    "Additive",
    "Ground",
    "Measurement",
    "Medium",
    "Mixing",
    "ShelfSettings",
    "Toner",
]

# Parts, coats and parts of medium beyond these are slips of the finger, not recipes.
LARGEST_PART, MOST_COATS, WEAKEST_LETDOWN = 50, 50, 1000


@dataclass(frozen=True, slots=True)
class Measurement:
    """How panels are read.

    Parameters
    ----------
    geometry
        The instrument's geometry.
    light
        Illuminant and observer of the Lab readings, and of targets that do not say otherwise.
    repeat_sd
        The instrument's repeatability, standard deviation per Lab coordinate.
    repeat_reflectance
        What it repeats to in reflectance however dark the panel, standard deviation [1] (common
        practice, no source).
    film_index
        Refractive index of film and clear [1].
    surface
        Reflectance that an uncleared, matte surface adds [1]; 0 under clear.
    """

    geometry: Geometry = Geometry.DIRECTIONAL
    light: Light = Light("D65", 10)
    repeat_sd: float = 0.1
    repeat_reflectance: float = 0.0005
    film_index: float = 1.5
    surface: float = 0.0

    @property
    def optics(self) -> FilmOptics:
        """The film's optics as this instrument sees it."""
        return FilmOptics(self.geometry, self.film_index, self.surface)

    def light_of(self, light: Light | str | None) -> Light | None:
        """A light, or its text; a lone illuminant such as ``A`` takes the shelf's observer.

        Parameters
        ----------
        light
            A light, its text such as ``D50/2`` or ``A``, or None, which stays.

        Raises
        ------
        UsageError
            There is no such light.
        """
        return Light.parse(light, self.light.observer) if isinstance(light, str) else light


@dataclass(frozen=True, slots=True)
class Mixing:
    """How the shop mixes and sprays; the rules that a recipe must keep.

    Parameters
    ----------
    medium_parts
        Letdowns of this shop, parts of medium to one of blend by volume; the house letdown first.
    coats
        Fewest and most.
    max_part
        Largest whole number in a ratio.
    ground_parts
        Most parts that a keyed ground is made of when one is looked for.
    tolerance
        ΔE00 that passes.
    panel_cv, coat_cv
        How far a whole panel's film build comes out heavy or light, and one coat's on its own [1].
    pour_cv
        Error of one component's pour [1].
    cup_ml
        Smallest step of a cup whose size is not known [ml]; None if there is none.
    cups
        The cups whose size is known.
    scale_g
        Smallest step of the scale [g]; None if there is none.
    ml_per_m2
        Mixed paint per coat and area [ml/m²]; None if not known.
    """

    medium_parts: tuple[Number, ...] = (6, 8, 5, 4)
    coats: tuple[int, int] = (2, 6)
    max_part: int = 4
    ground_parts: int = 3
    tolerance: float = 1.0
    panel_cv: float = 0.05
    coat_cv: float = 0.04
    pour_cv: float = 0.02
    cup_ml: Decimal | None = None
    cups: tuple[Cup, ...] = ()
    scale_g: Decimal | None = None
    ml_per_m2: Decimal | None = None

    @property
    def all_cups(self) -> tuple[Cup, ...]:
        """The cups from the smallest to the largest; one of unknown size stands last."""
        sized = sorted(self.cups, key=lambda cup: (cup.holds_ml or 0, cup.step_ml))
        return (*sized, *(() if self.cup_ml is None else (Cup(Fraction(self.cup_ml)),)))

    @property
    def finest_ml(self) -> Fraction | None:
        """The smallest step that a cup shows [ml]; None where no cup is known."""
        return min((cup.step_ml for cup in self.all_cups), default=None)


@dataclass(frozen=True, slots=True)
class Medium:
    """The clear base that toners are let down in.

    Parameters
    ----------
    label
        What it is called.
    density
        [kg/L]; None if not known.
    price
        Of a litre; None if not known.
    """

    label: str = "Medium"
    density: Decimal | None = None
    price: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Additive:
    """What the house always adds.

    Parameters
    ----------
    name
        Such as ``reducer``.
    percent
        Of the volume of medium and blend.
    density
        [kg/L]; None if not known.
    price
        Of a litre; None if not known.
    """

    name: str
    percent: Decimal
    density: Decimal | None = None
    price: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Toner:
    """A concentrated translucent tint.

    Parameters
    ----------
    name, label
        A letter, then a-z, 0-9 and hyphens; and what it is called on screen.
    density
        [kg/L]; None if not known.
    price
        Of a litre; None if not known.
    in_stock
        Whether recipes may use it.
    strength
        Of the bottle in use relative to the learnt curve [1].
    """

    name: str
    label: str
    density: Decimal | None = None
    price: Decimal | None = None
    in_stock: bool = True
    strength: Decimal = Decimal(1)


@dataclass(frozen=True, slots=True)
class Ground:
    """The opaque coat underneath.

    Parameters
    ----------
    name, label
        As a toner's.
    kind
        ``solid`` or ``metallic``.
    """

    name: str
    kind: str
    label: str

    @property
    def is_metallic(self) -> bool:
        """Whether flake makes its lobe narrower than a Lambertian one."""
        return self.kind == "metallic"


@dataclass(frozen=True, slots=True)
class ShelfSettings:
    """All that ``shelf.toml`` says.

    Parameters
    ----------
    name
        What the shelf is called.
    measurement, mixing, medium, additives
        How panels are read, how the shop mixes and sprays, and what it mixes with.
    toners, grounds
        By name, in the file's order.
    percent
        Whether spectral columns are 0..100, not 0..1.
    deck
        File of the deck that holds where none is named, relative to the shelf; None without one.
    """

    name: str
    measurement: Measurement
    mixing: Mixing
    toners: Mapping[str, Toner]
    grounds: Mapping[str, Ground]
    medium: Medium = Medium()
    additives: tuple[Additive, ...] = ()
    percent: bool = False
    deck: str | None = None

    def with_hand(self, hand: tuple[float, float] | None) -> ShelfSettings:
        """The same shelf, sprayed by a hand of other panel_cv and coat_cv; None changes nothing.

        Parameters
        ----------
        hand
            How far a panel comes out heavy or light, and one coat on its own [1].
        """
        if hand is None:
            return self
        panel_cv, coat_cv = hand
        return replace(self, mixing=replace(self.mixing, panel_cv=panel_cv, coat_cv=coat_cv))

    @property
    def toner_names(self) -> Names:
        """The toners by name and label."""
        return Names("toner", {name: toner.label for name, toner in self.toners.items()})

    @property
    def ground_names(self) -> GroundNames:
        """The grounds by name and label, and any keyed mix of them."""
        return GroundNames("ground", {name: ground.label for name, ground in self.grounds.items()})

    def is_metallic(self, ground: str) -> bool:
        """Whether there is flake in a ground: in one of what a keyed ground is mixed of.

        Parameters
        ----------
        ground
            Its name, or the text of a keyed one.
        """
        return any(self.grounds[name].is_metallic for name in parents_of(ground))

    def recipe(self, recipe: Recipe | str) -> Recipe:
        """A recipe, or its line, with toners and grounds found by name or label.

        Parameters
        ----------
        recipe
            The recipe, or its line.

        Raises
        ------
        UsageError
            The line does not parse, or names what the shelf does not have.
        """
        toners, grounds = self.toner_names, self.ground_names
        if isinstance(recipe, str):
            return parse(recipe, toners, grounds)
        faults: list[Fault] = []
        fix = "Correct the name, or add it to shelf.toml and learn it."
        names = toners.resolve(recipe.blend, faults, fix=fix)
        ground = grounds.resolve(recipe.ground, faults, fix=fix)
        if len(names) < len(recipe.blend) and not faults:
            faults.append(Fault("Two names of this blend mean the same toner; add its parts up."))
        if faults:
            raise UsageError(*(replace(fault, value=str(recipe)) for fault in faults))
        if names == tuple(recipe.blend) and ground == (recipe.ground,):
            return recipe
        blend = dict(zip(names, recipe.blend.values(), strict=True))
        return recipe.with_(blend=blend, ground=ground[0])

    @property
    def strengths(self) -> dict[str, float]:
        """Strength of each toner's bottle in use relative to its learnt curve, if it is not 1."""
        return {n: float(toner.strength) for n, toner in self.toners.items() if toner.strength != 1}

    @property
    def house_reducer_percent(self) -> Decimal:
        """The reducer that the house always adds, percent by volume of medium + blend."""
        return sum((a.percent for a in self.additives if a.name == "reducer"), Decimal(0))
