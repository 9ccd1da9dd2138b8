"""What a recipe must keep: the rules that the shop and the request set."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TypedDict

from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.model.blend import Number, exact_number
from fewtone.model.curves import Curves
from fewtone.model.keyed import KeyedGround
from fewtone.model.names import named_options
from fewtone.model.shelf import LARGEST_PART, MOST_COATS, WEAKEST_LETDOWN, ShelfSettings

__all__ = ["RuleOptions", "Rules", "keyed_pairs", "learnt_rules"]

_MOST_RATIOS = 100_000


class RuleOptions(TypedDict, total=False):
    """What may be asked of `Rules.of`; what is left out is the shop's own.

    Parameters
    ----------
    max_toners
        Most toners in a recipe.
    use, without
        Toners, by name or label, that alone may be used, or may not.
    grounds
        Grounds that alone may be used.
    medium_parts
        Letdowns that alone may be used, the first preferred.
    coats
        Fewest and most.
    max_part
        Largest whole number in a ratio.
    tolerance
        ΔE00 that passes.
    top
        Most recipes in the trade-off.
    keep
        Toners that every recipe must hold.
    keyed
        Whether grounds are mixed in pairs, too.
    """

    max_toners: int
    use: Sequence[str] | None
    without: Sequence[str]
    grounds: Sequence[str] | None
    medium_parts: Sequence[Number] | None
    coats: tuple[int, int] | None
    max_part: int | None
    tolerance: float | None
    top: int
    keep: Sequence[str]
    keyed: bool


@dataclass(frozen=True, slots=True)
class Rules:
    """The rules of one match, complete.

    Parameters
    ----------
    toners
        Toners that may be used, in the shelf's order.
    grounds
        Grounds that may be used, in the shelf's order.
    medium_parts
        Letdowns that may be used, in the shop's order (the house letdown first).
    coats
        Fewest and most coats.
    max_part
        Largest whole number in a ratio.
    max_toners
        Most toners in a recipe.
    tolerance
        ΔE00 that passes.
    top
        Most recipes in the trade-off.
    keep
        Toners that every recipe must have.
    keyed
        Keyed grounds that a match is to try as well, in the shelf's order.
    """

    toners: tuple[str, ...]
    grounds: tuple[str, ...]
    medium_parts: tuple[Number, ...]
    coats: tuple[int, int]
    max_part: int
    max_toners: int = 3
    tolerance: float = 1.0
    top: int = 8
    keep: tuple[str, ...] = ()
    keyed: tuple[str, ...] = ()

    @classmethod
    @named_options
    def of(
        cls,
        settings: ShelfSettings,
        *,
        max_toners: int = 3,
        use: Sequence[str] | None = None,
        without: Sequence[str] = (),
        grounds: Sequence[str] | None = None,
        medium_parts: Sequence[Number] | None = None,
        coats: tuple[int, int] | None = None,
        max_part: int | None = None,
        tolerance: float | None = None,
        top: int = 8,
        keep: Sequence[str] = (),
        keyed: bool = False,
        read: Sequence[str] = (),
    ) -> Rules:
        """Complete the rules of a request with the shop's own.

        Parameters
        ----------
        settings
            The shelf.
        use
            Use these toners only; all that are in stock if None.
        without
            Leave these toners out.
        grounds, medium_parts, coats, max_part, tolerance
            The shop's own if None. Letdowns are ranked as the shop lists them; ones that it does
            not list come after those, in the order given.
        max_toners, top, keep
            As for `Rules`.
        keyed
            Also try every pair of the grounds in whole parts, `Mixing.ground_parts` of them at
            most.
        read
            Grounds that are learnt: keyed ones among them are grounds like any other.

        Raises
        ------
        UsageError
            A name that the shelf does not have, a toner out of stock, a number out of range, or
            rules that leave nothing. All that is wrong is told at once.
        """
        mixing = settings.mixing
        faults: list[Fault] = []
        toner_names = settings.toner_names
        if use is not None:
            use = toner_names.resolve(use, faults, where="`use`: ")
        without = toner_names.resolve(without, faults, where="`without`: ")
        keep = toner_names.resolve(keep, faults, where="keep: ")
        if grounds is not None:
            grounds = settings.ground_names.resolve(grounds, faults, where="`grounds`: ")
        for option, asked in (("`use`", use), ("`keep`", keep)):
            faults += _out_of_stock(option, asked or (), settings)
        faults += [
            Fault(
                f"{name} is asked for and left out at once.",
                fix="Take it out of `without`, or out of the list it is asked for in.",
                value=name,
            )
            for name in dict.fromkeys([*(use or ()), *keep])
            if name in without
        ]
        wanted = {*(settings.toners if use is None else use), *keep} - set(without)
        toners = tuple(n for n, toner in settings.toners.items() if n in wanted and toner.in_stock)
        allowed = grounds
        if allowed is None:
            allowed = (*settings.grounds, *(name for name in read if "+" in name))
        plain = tuple(name for name in settings.grounds if name in allowed)
        letdowns = _letdowns(mixing.medium_parts, medium_parts, faults)
        span = mixing.coats if coats is None else coats
        largest = mixing.max_part if max_part is None else max_part
        passing = mixing.tolerance if tolerance is None else float(tolerance)
        if not faults and not toners:
            stock = [n for n, toner in settings.toners.items() if toner.in_stock]
            faults.append(
                Fault(
                    "No toner is left to mix from.",
                    fix=f"In stock: {', '.join(stock) or 'none'}.",
                )
            )
        if grounds is not None and not grounds and not faults:
            faults.append(
                Fault("No ground is named.", fix=f"Name some of: {', '.join(settings.grounds)}.")
            )
        _check_number("`max_toners`", max_toners, 1, 99, faults)
        _check_number("`max_part`", largest, 1, LARGEST_PART, faults)
        _check_number("`top`", top, 0, 10_000, faults)
        if 1 < largest <= LARGEST_PART and max_toners >= 1:
            size = min(max_toners, max(1, len(toners)))
            if size * math.log(largest) > math.log(_MOST_RATIOS):
                faults.append(
                    Fault(
                        f"{size} toners with parts up to {largest} make too many ratios.",
                        fix="Lower `max_part` or `max_toners`.",
                    )
                )
        if not 1 <= span[0] <= span[1] <= MOST_COATS:
            faults.append(
                Fault(
                    f"Coats must be whole numbers from 1 to {MOST_COATS}, the fewest first.",
                    value=f"{span[0]}-{span[1]}",
                )
            )
        if not (math.isfinite(passing) and passing >= 0.0):
            faults.append(Fault("The tolerance must be a ΔE00 of 0 or more.", value=str(passing)))
        if len(set(keep)) > max_toners >= 1:
            faults.append(
                Fault(
                    f"{len(set(keep))} toners are to be kept, but only {max_toners} allowed.",
                    fix="Allow more (`max_toners`), or keep fewer.",
                )
            )
        if faults:
            raise UsageError(*faults)
        return cls(
            toners=toners,
            grounds=(*plain, *(name for name in allowed if name not in plain)),
            medium_parts=letdowns,
            coats=(int(span[0]), int(span[1])),
            max_part=int(largest),
            max_toners=int(max_toners),
            tolerance=passing,
            top=int(top),
            keep=tuple(dict.fromkeys(keep)),
            keyed=tuple(
                name for name in keyed_pairs(plain, mixing.ground_parts) if name not in allowed
            )
            if keyed
            else (),
        )


def keyed_pairs(grounds: Sequence[str], most_parts: int) -> tuple[str, ...]:
    """Every keyed ground of two of these, of so many parts together at most.

    Parameters
    ----------
    grounds
        Names of the grounds.
    most_parts
        The largest sum of the two parts.

    Examples
    --------
    >>> keyed_pairs(("silver", "moss"), 3)
    ('1 moss + 1 silver', '2 silver + 1 moss', '2 moss + 1 silver')
    """
    return tuple(
        str(KeyedGround({one: first, other: whole - first}))
        for one, other in itertools.combinations(grounds, 2)
        for whole in range(2, most_parts + 1)
        for first in range(whole - 1, 0, -1)
        if math.gcd(first, whole) == 1
    )


def learnt_rules(curves: Curves, rules: Rules) -> Rules:
    """The rules without the toners and grounds that are not learnt.

    Raises
    ------
    FewtoneError
        None of either is left, or one that is to be kept is not learnt.
    """
    toners = tuple(name for name in rules.toners if name in curves.toners)
    grounds = tuple(name for name in rules.grounds if name in curves.grounds)
    faults = [
        Fault(
            f"None of these {what} is learnt: {', '.join(asked)}.",
            fix=f"Learnt are: {', '.join(known) or 'none'}. Read panels of the others and run "
            "`fewtone learn`.",
        )
        for what, kept, asked, known in (
            ("toners", toners, rules.toners, curves.toners),
            ("grounds", grounds, rules.grounds, curves.grounds),
        )
        if not kept
    ]
    faults += [
        Fault(f"{name} is to be kept but is not learnt.", value=name)
        for name in rules.keep
        if name not in toners
    ]
    if faults:
        raise FewtoneError(*faults)
    return replace(rules, toners=toners, grounds=grounds)


def _out_of_stock(option: str, asked: Sequence[str], settings: ShelfSettings) -> list[Fault]:
    stock = [name for name, toner in settings.toners.items() if toner.in_stock]
    return [
        Fault(
            f"{option}: {name} is out of stock (in_stock = false in shelf.toml).",
            fix=f"In stock: {', '.join(stock) or 'none'}.",
            value=name,
        )
        for name in asked
        if name in settings.toners and name not in stock
    ]


def _letdowns(
    shop: tuple[Number, ...], asked: Sequence[Number] | None, faults: list[Fault]
) -> tuple[Number, ...]:
    wanted = [exact_number(parts) for parts in (shop if asked is None else asked)]
    faults += [
        Fault(
            f"A letdown must be 0 to {WEAKEST_LETDOWN} parts of medium to one of blend.",
            fix=f"This shop uses {', '.join(f'{m}:1' for m in shop)}.",
            value=str(parts),
        )
        for parts in wanted
        if not 0 <= parts <= WEAKEST_LETDOWN
    ]
    if not wanted:
        faults.append(
            Fault("No letdown is named.", fix=f"This shop uses {', '.join(map(str, shop))}.")
        )
    return tuple(dict.fromkeys([m for m in shop if m in wanted] + wanted))


def _check_number(
    option: str, value: int | Decimal, least: int, most: int, faults: list[Fault]
) -> None:
    if value != int(value) or not least <= value <= most:
        faults.append(
            Fault(f"{option} must be a whole number from {least} to {most}.", value=str(value))
        )
