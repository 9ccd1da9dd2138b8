"""The page as PDF, where the optional library for it is installed.

WeasyPrint lays the same HTML out without a browser. It comes with the extra ``fewtone[pdf]`` and
needs Pango on the system.
"""

from __future__ import annotations

import io
from enum import StrEnum

from fewtone.errors import Fault, FewtoneError

__all__ = ["Paper", "pdf"]

# WeasyPrint does not stretch a column of blocks over a set height as browsers do: there the page
# takes the height that it needs. What is given beside a document yields to it unless important.
_STYLE = (
    "@page {{ size: {paper} }} "
    "main, .notes {{ display: block !important; height: auto !important }}"
)


class Paper(StrEnum):
    """Paper that offices and shops have."""

    A4 = "a4"
    LETTER = "letter"


def pdf(html: str, paper: Paper) -> bytes:
    """Print a page of `fewtone.report.page` to PDF.

    Raises
    ------
    FewtoneError
        The library for it, or what it needs of the system, is not there.
    """
    try:
        from weasyprint import CSS, HTML  # type: ignore[import-untyped]
    except (ImportError, OSError) as error:  # OSError: Pango is missing
        raise FewtoneError(
            Fault(
                f"A PDF needs WeasyPrint, which is not ready here ({error}).",
                fix="Run: pip install 'fewtone[pdf]' (and install Pango on the system), or print "
                "the HTML page from a browser.",
            )
        ) from error
    written = io.BytesIO()
    style = CSS(string=_STYLE.format(paper=paper))
    HTML(string=html).write_pdf(written, stylesheets=[style])
    return written.getvalue()
