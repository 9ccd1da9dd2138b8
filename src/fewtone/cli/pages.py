"""Where pages go: HTML and PDF files, or standard output."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, TypeAlias

import typer

from fewtone.errors import Fault, UsageError

__all__ = ["OutputOption", "outputs", "wants_pdf", "write_page"]

OutputOption: TypeAlias = Annotated[
    list[str],
    typer.Option(
        "--output",
        "-o",
        metavar="FILE",
        help="FILE.html, FILE.pdf, or - for standard output; may be repeated.",
    ),
]


def outputs(texts: list[str] | None, *, as_json: bool) -> list[Path | None]:
    """Where a page goes: ``.html`` and ``.pdf`` files; None for standard output (``-``).

    Raises
    ------
    UsageError
        Another kind of file, or standard output that a JSON document needs for itself.
    """
    files: list[Path | None] = []
    for text in texts or ():
        if text == "-" and as_json:
            raise UsageError(
                Fault(
                    "With --json, standard output holds the document and nothing else.",
                    fix="Write the page to a file, or leave --json out.",
                    value=text,
                )
            )
        if text != "-" and Path(text).suffix.lower() not in (".html", ".htm", ".pdf"):
            raise UsageError(
                Fault(
                    f"'{text}' is no page that can be written: .html, .pdf and - are allowed.",
                    fix="Name it like page.html or page.pdf.",
                    value=text,
                )
            )
        files.append(None if text == "-" else Path(text))
    return files


def write_page(files: list[Path | None], html: str, pdf: bytes) -> list[str]:
    """Write a page to each of its files; the names of those written."""
    from fewtone.io.atomic import write_atomic

    for file in files:
        if file is None:
            sys.stdout.write(html)
        else:
            write_atomic(file, pdf if file.suffix.lower() == ".pdf" else html)
    return [str(file) for file in files if file is not None]


def wants_pdf(files: list[Path | None]) -> bool:
    """Whether one of them is a PDF."""
    return any(file is not None and file.suffix.lower() == ".pdf" for file in files)
