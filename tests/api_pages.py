"""Makes the API pages, one a module, from docstrings: ``python tests/api_pages.py FOLDER``."""

from __future__ import annotations

import sys
import warnings
from pathlib import Path

import fewtone

__all__ = ["MODULES", "is_api", "make_pages"]

_SOURCE = Path(fewtone.__file__).parent
MODULES = [
    ".".join(("fewtone", *path.relative_to(_SOURCE).with_suffix("").parts)).removesuffix(
        ".__init__"
    )
    for path in sorted(_SOURCE.rglob("*.py"))
    if "data" not in path.parts
]
"""Every module of the package, by its dotted name."""


def is_api(name: str) -> bool:
    """Whether a module is for callers; the command line's are not."""
    return not name.startswith("fewtone.cli")


def make_pages(folder: Path, *, source: bool = True) -> None:
    """Write the pages into a folder, which is made if need be; ``index.html`` leads to them all.

    With `source`, which takes longest, each shows its source.
    """
    import pdoc
    import pdoc.render

    pdoc.render.configure(docformat="numpy", show_source=source)
    with warnings.catch_warnings():
        # A package without names of its own brings its modules along; naming them again is no harm.
        warnings.simplefilter("ignore", UserWarning)
        pdoc.pdoc(*filter(is_api, MODULES), output_directory=folder)


if __name__ == "__main__":
    make_pages(Path(sys.argv[1]))
