"""`fewtone new`: a shelf folder to fill in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fewtone.cli.options import JsonOption, names

__all__ = ["new"]


def new(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder to make.")],
    demo: Annotated[
        bool, typer.Option("--demo", help="Copy the demo shelf, whose data are invented.")
    ] = False,
    toners: Annotated[
        str, typer.Option("--toners", metavar="A,B", help="Names of your toners.")
    ] = "first-toner,second-toner",
    solid: Annotated[
        str, typer.Option("--solid", metavar="A,B", help="Names of your solid grounds.")
    ] = "white",
    metallic: Annotated[
        str, typer.Option("--metallic", metavar="A,B", help="Names of your metallic grounds.")
    ] = "silver",
    as_json: JsonOption = False,
) -> None:
    """Write a shelf folder to fill in: settings, the rows to spray, and a short guide.

    What is in the folder already is never touched.
    """
    from fewtone.api import new as make
    from fewtone.cli.console import SAFETY, out, print_cautions, print_document
    from fewtone.io.settings import load_settings
    from fewtone.io.starter import work_to_do

    written = make(
        folder,
        demo=demo,
        toners=names(toners) or (),
        solid=names(solid) or (),
        metallic=names(metallic) or (),
    )
    if as_json:
        print_document({"format": 1, "written": [str(file) for file in written]})
        return
    out(*(f"Wrote {file}" for file in written))
    if demo:
        out(f"The demo data are invented. Next: fewtone learn --shelf {folder}")
        return
    everything, first = work_to_do(load_settings(folder))
    out(
        f"To spray: {everything.panels} panels, {everything.readings} readings. The rows marked "
        f'"first" are {first.readings}',
        "readings on as many panels, and enough to begin with: with a hand that varies",
        "by 5 % they foretold unseen blends nearly as well as all rows did (median ΔE00",
        "0.47 and 0.44, made-up data).",
        "Rows that share a panel id are the steps of one masked strip. Separate panels of one",
        "session may share an id too: write yes in their rows, in a column named separate.",
        f"Next: name your toners and grounds in {folder / 'shelf.toml'}, spray and read the rows",
        f"of {folder / 'readings.csv'}, then: fewtone learn --shelf {folder}",
        f"The guide is {folder / 'README.txt'}.",
    )
    print_cautions([SAFETY])
