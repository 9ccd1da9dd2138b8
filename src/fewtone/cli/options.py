"""The options that commands share, and how their text becomes values."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeAlias

import typer

from fewtone.errors import Fault, FewtoneError, UsageError

if TYPE_CHECKING:
    from fewtone.model.blend import Number
    from fewtone.recipes.rules import RuleOptions
    from fewtone.shelf import Shelf

__all__ = [
    "AreaOption",
    "BookOption",
    "ByWeightOption",
    "CoatsOption",
    "ExactOption",
    "ExplainOption",
    "ExtraOption",
    "FromOption",
    "GroundOption",
    "JobOption",
    "JsonOption",
    "LetdownOption",
    "MaxPartOption",
    "MaxTonersOption",
    "PlainOption",
    "RecipeArgument",
    "RecipeOfJobArgument",
    "RoundingOption",
    "ShelfOption",
    "TargetOption",
    "ToleranceOption",
    "TopOption",
    "UseOption",
    "VolumeOption",
    "WithoutOption",
    "count",
    "names",
    "open_shelf",
    "require_day",
    "rests",
    "rule_options",
    "shelf_folder",
    "usage_error",
]


def _a_number(value: float | None) -> float | None:
    """Refuse nan, which lies within any bounds."""
    if value is not None and math.isnan(value):
        raise typer.BadParameter("nan is not a number.")
    return value


RecipeArgument: TypeAlias = Annotated[
    str,
    typer.Argument(
        metavar="RECIPE", help='Such as "2 marigold + 1 dusk, 6:1, 4 coats over silver".'
    ),
]
TargetOption: TypeAlias = Annotated[
    str | None,
    typer.Option("--target", metavar="T", help="What was asked for, as `match` takes it."),
]
ShelfOption: TypeAlias = Annotated[
    Path | None,
    typer.Option(
        "--shelf",
        metavar="FOLDER",
        envvar="FEWTONE_SHELF",
        help="The shelf's folder. Without it: the only shelf under ./toners.",
    ),
]
BookOption: TypeAlias = Annotated[
    Path | None,
    typer.Option(
        "--book",
        metavar="FILE",
        envvar="FEWTONE_BOOK",
        help="The job book. Without it: one in your user's data folder.",
    ),
]
JobOption: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--job",
        metavar="NAME",
        help="A job of the book: its recipe and target count where none are said, and what is done "
        "is written down in it.",
    ),
]
RecipeOfJobArgument: TypeAlias = Annotated[
    str | None,
    typer.Argument(
        metavar="RECIPE",
        help='Such as "2 marigold + 1 dusk, 6:1, 4 coats over silver"; may be left out with --job.',
    ),
]
JsonOption: TypeAlias = Annotated[
    bool, typer.Option("--json", help="One JSON document on standard output, nothing else.")
]
PlainOption: TypeAlias = Annotated[
    bool,
    typer.Option(
        "--plain",
        envvar="FEWTONE_PLAIN",
        help="Lines of words alone: no colour, no blocks, no table.",
    ),
]
ToleranceOption: TypeAlias = Annotated[
    float | None,
    typer.Option(
        "--tolerance",
        metavar="X",
        min=0.0,
        max=100.0,
        callback=_a_number,
        help="Delta E 00 that passes.",
    ),
]
MaxTonersOption: TypeAlias = Annotated[
    int, typer.Option("--max-toners", metavar="K", min=1, max=99, help="Most toners in a recipe.")
]
UseOption: TypeAlias = Annotated[
    str | None, typer.Option("--use", metavar="A,B", help="Use these toners only.")
]
WithoutOption: TypeAlias = Annotated[
    str | None, typer.Option("--without", metavar="A,B", help="Leave these toners out.")
]
GroundOption: TypeAlias = Annotated[
    str | None, typer.Option("--ground", metavar="A,B", help="Use these grounds only.")
]
LetdownOption: TypeAlias = Annotated[
    str | None,
    typer.Option("--letdown", metavar="6,8", help="Use these letdowns only, the first preferred."),
]
CoatsOption: TypeAlias = Annotated[
    str | None, typer.Option("--coats", metavar="2-5", help="Fewest and most coats.")
]
MaxPartOption: TypeAlias = Annotated[
    int | None,
    typer.Option("--max-part", metavar="N", help="Largest whole number in a ratio."),
]
ExplainOption: TypeAlias = Annotated[
    bool,
    typer.Option(
        "--explain", help="Say how the answer is proven: how many recipes each bound cuts."
    ),
]
TopOption: TypeAlias = Annotated[
    int,
    typer.Option("--top", metavar="N", min=0, max=10_000, help="Most recipes in the trade-off."),
]
VolumeOption: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--volume",
        metavar="600ml",
        help="How much, ready to spray: 20floz-us, 600ml, 0.6l and the like.",
    ),
]
AreaOption: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--area", metavar="1.4m2", help="What the recipe's coats are to cover: m2 or sqft."
    ),
]
ExtraOption: TypeAlias = Annotated[
    str | None,
    typer.Option("--extra", metavar="40ml", help="What gun and cup keep, on top: a volume or 10%."),
]
ByWeightOption: TypeAlias = Annotated[
    bool, typer.Option("--by-weight", help="Land on steps of the scale, not lines of the cup.")
]
ExactOption: TypeAlias = Annotated[
    bool,
    typer.Option("--exact", help="The exact volume; says what rounding does to the colour."),
]
RoundingOption: TypeAlias = Annotated[
    float | None,
    typer.Option(
        "--rounding",
        metavar="0.1",
        help="Delta E 00 that pouring on lines may cost; 0 keeps the recipe's own ratio.",
    ),
]
FromOption: TypeAlias = Annotated[
    list[str] | None,
    typer.Option(
        "--from",
        metavar="NAME=120ml",
        help="Use up this rest of a toner; may be repeated. --area says if it is enough.",
    ),
]


def shelf_folder(shelf: Path | None) -> Path:
    """The shelf that is meant: as said, or the only one under ./toners.

    Raises
    ------
    UsageError
        There is none, or more than one and none was named.
    """
    if shelf is not None:
        if not shelf.is_dir():
            raise UsageError(
                Fault(
                    "This shelf's folder does not exist.",
                    fix="Name another with --shelf, or make one with `fewtone new FOLDER`.",
                    value=str(shelf),
                )
            )
        return shelf
    folders = sorted(file.parent for file in Path("toners").glob("*/shelf.toml"))
    if len(folders) == 1:
        return folders[0]
    if not folders:
        raise UsageError(
            Fault(
                "There is no shelf under ./toners.",
                fix="Name one with --shelf FOLDER, or make one with `fewtone new toners/NAME`.",
            )
        )
    raise UsageError(
        Fault(
            f"There are several shelves: {', '.join(str(folder) for folder in folders)}.",
            fix="Name one with --shelf FOLDER or the variable FEWTONE_SHELF.",
        )
    )


def open_shelf(shelf: Path | None) -> Shelf:
    """Load the shelf that is meant and tell its cautions."""
    from fewtone.api import load
    from fewtone.cli.console import print_cautions

    loaded = load(shelf_folder(shelf))
    print_cautions(loaded.cautions)
    return loaded


def usage_error(message: str, fix: str, value: str) -> UsageError:
    """An error about what was typed."""
    return UsageError(Fault(message, fix=fix, value=value))


def require_day(option: str, text: str | None) -> None:
    """Refuse what is no day such as 2026-01-31; None passes.

    Raises
    ------
    UsageError
        It is none.
    """
    import datetime

    if text is None:
        return
    try:
        if datetime.date.fromisoformat(text).isoformat() == text:
            return
    except ValueError:
        pass
    raise usage_error(f"{option} '{text}' is no day.", "Write such as 2026-01-31.", text)


def names(text: str | None) -> tuple[str, ...] | None:
    """A list of names or labels set apart by commas; None where the option was not given."""
    if text is None:
        return None
    return tuple(name for part in text.split(",") if (name := part.strip()))


def rests(items: list[str] | None) -> dict[str, str] | None:
    """What is to be used up, from ``ruby=120ml``; None where the option was not given.

    Raises
    ------
    UsageError
        One has no equals sign, or a name is given twice.
    """
    amounts: dict[str, str] = {}
    for item in items or ():
        name, sign, amount = (part.strip() for part in item.partition("="))
        if not sign or not name or name in amounts:
            raise UsageError(
                Fault(
                    f"--from '{item}' is not a name and an amount, each name once.",
                    fix="Write it as ruby=120ml.",
                    value=item,
                )
            )
        amounts[name] = amount
    return amounts or None


def count(option: str, text: str | None) -> Number | None:
    """A number of coats, decimals allowed; None where the option was not given.

    Raises
    ------
    UsageError
        It does not read as a number.
    """
    from fewtone.model.blend import exact_number

    if text is None:
        return None
    try:
        return exact_number(text.strip().replace(",", "."))
    except FewtoneError:
        raise UsageError(
            Fault(f"{option} '{text}' is not a number of coats.", "Write such as 3.", value=text)
        ) from None


def rule_options(
    *,
    max_toners: int,
    use: str | None,
    without: str | None,
    ground: str | None,
    letdown: str | None,
    coats: str | None,
    max_part: int | None,
    tolerance: float | None,
    top: int,
    keyed: bool = False,
) -> RuleOptions:
    """The rules as the library takes them; only what was given.

    Raises
    ------
    UsageError
        A letdown or the coats do not read as numbers.
    """
    options: RuleOptions = {"max_toners": max_toners, "top": top}
    if use is not None:
        options["use"] = names(use) or ()
    if without is not None:
        options["without"] = names(without) or ()
    if ground is not None:
        options["grounds"] = names(ground) or ()
    if letdown is not None:
        options["medium_parts"] = _letdowns(letdown)
    if coats is not None:
        options["coats"] = _span(coats)
    if max_part is not None:
        options["max_part"] = max_part
    if tolerance is not None:
        options["tolerance"] = tolerance
    if keyed:
        options["keyed"] = True
    return options


def _letdowns(text: str) -> tuple[Number, ...]:
    from fewtone.model.blend import exact_number

    try:
        return tuple(
            exact_number(item.removesuffix(":1")) for item in re.split(r"[,\s]+", text.strip())
        )
    except FewtoneError:
        raise UsageError(
            Fault(
                f"--letdown '{text}' is not a list of letdowns.",
                fix="Write the parts of medium, such as 6,8.",
                value=text,
            )
        ) from None


def _span(text: str) -> tuple[int, int]:
    """Fewest and most coats: ``2-5``, one number, or a list without gaps such as ``3,4``."""
    span = re.fullmatch(r"([0-9]{1,6}) ?- ?([0-9]{1,6})", " ".join(text.split()))
    cells = span.groups() if span else re.split(r"[,\s]+", text.strip())
    counts = sorted({int(cell) for cell in cells if re.fullmatch(r"[0-9]{1,6}", cell)})
    if span:
        whole = int(span[1]) <= int(span[2])
    else:
        whole = all(re.fullmatch(r"[0-9]{1,6}", cell) for cell in cells)
        whole = whole and len(counts) == counts[-1] - counts[0] + 1
    if not whole:
        example = f"{counts[0]}-{counts[-1]}" if len(counts) > 1 else "2-5"
        raise UsageError(
            Fault(
                f"--coats '{text}' is not a range of whole coats.",
                fix=f"Write fewest and most, such as {example}, or one number.",
                value=text,
            )
        )
    return counts[0], counts[-1]
