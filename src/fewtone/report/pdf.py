"""The page as PDF, where the optional library for it is installed.

WeasyPrint lays the same HTML out without a browser. It comes with the extra ``fewtone[pdf]`` and
needs Pango on the system.
"""

from __future__ import annotations

import io
from enum import StrEnum

from fewtone.errors import Fault, FewtoneError

__all__ = ["Paper", "pdf"]

# WeasyPrint neither stretches a column of blocks over a set height as browsers do, nor wraps rows
# out of sight: there the page takes the height that it needs, with fewer rows for readings and at
# most four grounds. What is given beside a document yields to it unless important.
_STYLE = """
@page {{ size: {paper} }}
main, main > .notes, main > .grounds, .strips, .strip, .strip tbody, .readings, .readings tbody {{
  display: block !important; height: auto !important; min-height: 0 !important;
}}
h1 span {{ display: inline !important }}
.over span, .over time {{ flex: 0 1 auto !important; overflow: visible !important }}
.readings tbody tr:nth-child(n + 3), .strip tbody tr:nth-child(n + 5) {{ display: none !important }}
"""


class Paper(StrEnum):
    """Paper that offices and shops have."""

    A4 = "a4"
    LETTER = "letter"


def pdf(html: str, paper: Paper | None = None) -> bytes:
    """Print a page to PDF: on a paper, or of the size that it says itself.

    Parameters
    ----------
    html
        The page, whole.
    paper
        ``a4`` or ``letter``; None for the size that the page says.

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
    styles = [] if paper is None else [CSS(string=_STYLE.format(paper=paper))]
    HTML(string=html).write_pdf(written, stylesheets=styles)
    return written.getvalue()
