"""`fewtone board`: the same for people who do not type commands, in a browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fewtone.cli import options, target_options

__all__ = ["board"]


def board(
    shelf: options.ShelfOption = None,
    book: options.BookOption = None,
    deck: target_options.DeckOption = None,
    port: Annotated[
        int | None,
        typer.Option(
            "--port", metavar="N", min=0, max=65535, help="The port; 0 is any that is free."
        ),
    ] = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the browser, or only say where.")
    ] = True,
    lan: Annotated[
        bool,
        typer.Option("--lan", help="Let other devices of this network in, each with a code."),
    ] = False,
    address: Annotated[
        str | None,
        typer.Option(
            "--address",
            metavar="A.B.C.D",
            help="With --lan: this machine's address in the network, where it has several.",
        ),
    ] = None,
    as_json: options.JsonOption = False,
) -> None:
    """Show the board: shelf, target, recipe, pour, panel and job book as pages in a browser.

    It serves this machine alone, until it is interrupted; nothing leaves the machine.
    """
    from fewtone.board.server import require_extra

    require_extra()
    from fewtone.board.bench import Bench
    from fewtone.board.safety import Doors
    from fewtone.board.server import Board, own_address
    from fewtone.cli.console import out, print_cautions, print_document

    if address is not None and not lan:
        raise options.usage_error(
            "--address is the address for other devices, and those are let in with --lan.",
            "Say --lan too, or leave it out.",
            address,
        )
    outside = (address or own_address()) if lan else None
    bench = Bench(Path("toners"), folder=shelf, book=book, deck=deck)
    opened = Board(bench, port=port, lan=outside)
    opened.listen()

    def tell(doors: Doors) -> None:
        if as_json:
            print_document(
                {
                    "format": 1,
                    "address": doors.address,
                    "way_in": doors.way_in,
                    "lan_address": doors.lan_address,
                    "lan_way_in": doors.way_in_from_outside(),
                }
            )
        else:
            out(f"The board is open: {doors.way_in}", "Stop it with Ctrl+C.")
        if doors.lan_address is not None:
            print_cautions(
                [
                    "Other devices of this network may come in, and whoever is in it can read "
                    "along: nothing is encrypted. Use it only in a network of your own.",
                    f"One device comes in with this address within a quarter of an hour: "
                    f"{doors.way_in_from_outside()}",
                ]
            )
        if browser:
            import webbrowser

            webbrowser.open(doors.way_in_once())

    opened.run(tell)
    if not as_json:
        out("The board is closed.")
