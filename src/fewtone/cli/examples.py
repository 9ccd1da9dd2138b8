"""What stands beside each command in the program's help, and the example that ends its own help.

The examples run on the demo shelf, learnt, as the only shelf under ./toners.
"""

from __future__ import annotations

from typing import NamedTuple

__all__ = ["HELP", "JOB_EXAMPLES", "CommandHelp", "epilog_of"]


class CommandHelp(NamedTuple):
    """A command in one line, and how it is really typed."""

    summary: str
    example: str


_RECIPE = '"2 peony + 1 poppy, 8:1, 6 coats over silver"'

HELP = {
    "new": CommandHelp(
        "A shelf folder to fill in.",
        'fewtone new toners/mine --toners "Ruby Red,Sky" --metallic silver',
    ),
    "take": CommandHelp(
        "An instrument's file into readings.csv.", "fewtone take export.txt --dry-run"
    ),
    "learn": CommandHelp(
        "Learn the toners and grounds from the readings.", "fewtone learn --picture shelf.svg"
    ),
    "match": CommandHelp(
        "The recipe with the fewest toners for a target.",
        'fewtone match "34.1,59.3,12.5" --max-toners 2 --ground silver',
    ),
    "check": CommandHelp(
        "A recipe's colour before it is mixed.",
        f'fewtone check {_RECIPE} --target "34.1,59.3,12.5"',
    ),
    "compare": CommandHelp(
        "Recipes side by side.",
        f'fewtone compare {_RECIPE} "3 peony + 1 poppy, 8:1, 6 coats over silver"',
    ),
    "simplify": CommandHelp(
        "A formula of many toners as one of few.",
        'fewtone simplify "41.5 peony + 22 poppy + 3 ash, 6:1, 4 coats over silver"',
    ),
    "letdown": CommandHelp(
        "The colour at each coat over each ground.", f"fewtone letdown {_RECIPE} --ground silver"
    ),
    "batch": CommandHelp("What to pour.", f"fewtone batch {_RECIPE} --area 1.4m2 --extra 40ml"),
    "adjust": CommandHelp(
        "What to do after a panel was read.",
        f'fewtone adjust {_RECIPE} --target "34.1,59.3,12.5" --reading "37,56,11" --left 350ml',
    ),
    "bottle": CommandHelp(
        "How strong a new bottle is.",
        'fewtone bottle "peony, 6:1, 3 coats over silver" --reading "37.4,65.7,-31.0"',
    ),
    "sheet": CommandHelp(
        "A page to print and pin up.",
        f'fewtone sheet {_RECIPE} --target "34.1,59.3,12.5" -o beet-soup.html',
    ),
    "deck": CommandHelp(
        "Every swatch of a deck against the shelf.",
        "fewtone deck swatches.csv --max-toners 2 -o reached.csv --page reached.html",
    ),
    "reach": CommandHelp(
        "What the shelf can make over each ground.",
        'fewtone reach --target "34.1,59.3,12.5" --keyed -o reach.svg',
    ),
    "label": CommandHelp(
        "A sticker for the cup.", f'fewtone label {_RECIPE} --name "Beet soup" -o sticker.html'
    ),
    "board": CommandHelp(
        "The same as pages in a browser.", "fewtone board --shelf toners/lamp-bench"
    ),
}

_JOB = '"red lamp, hall"'

JOB_EXAMPLES = {
    "keep": f'fewtone job keep {_JOB} {_RECIPE} --target "34.1,59.3,12.5"',
    "show": f"fewtone job show {_JOB}",
    "find": 'fewtone job find --like "34,59,12"',
    "again": f"fewtone job again {_JOB}",
    "note": f'fewtone job note {_JOB} "gun B, 1.3 tip"',
    "end": f"fewtone job end {_JOB} passed",
    "export": "fewtone job export jobs.json",
    "import": "fewtone job import jobs.json --force",
}
"""The same of the job book's own commands; they run in this order."""


def epilog_of(example: str) -> str:
    """What ends a help text; the mark keeps the example on a line of its own, as it is typed."""
    return f"Example:\n\n\b\n{example}"
