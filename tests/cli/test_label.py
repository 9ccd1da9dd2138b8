"""`fewtone label` as a user types it."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from pypdf import PdfReader

import fewtone
from cli.conftest import Run
from lamp_shelf import write_lamp_shelf

RECIPE = "2 Marigold + 1 dusk, 6:1, 4 coats over Fine silver"
LINE = "2 marigold + 1 dusk, 6:1, 4 coats over silver"


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A learnt lamp bench."""
    return write_lamp_shelf(tmp_path_factory.mktemp("label") / "lamp-bench")


def test_it_says_what_is_in_the_cup(shelf: Path, run: Run) -> None:
    """On the screen: name, blend, letdown, coats, ground, day."""
    ran = run("label", RECIPE, "--name", "Beet soup", "--date", "2025-03-31", "--shelf", shelf)
    assert ran.code == 0
    for words in ("Beet soup", "2 marigold + 1 dusk", "Letdown 6:1, 4 coats over silver"):
        assert words in ran.out
    assert "Mixed 2025-03-31, Lamp bench" in ran.out
    assert "safety data sheets" in ran.err


def test_json(shelf: Path, run: Run) -> None:
    """One document, the recipe by name."""
    document = run("label", RECIPE, "--date", "2025-03-31", "--shelf", shelf, "--json").document
    assert document["recipe"] == LINE
    assert (document["name"], document["date"], document["written"]) == (None, "2025-03-31", [])
    assert document["lab"] == pytest.approx(fewtone.load(shelf).predict([LINE]).lab[0], abs=1e-4)


def test_html_and_pdf(shelf: Path, run: Run, tmp_path: Path) -> None:
    """A page and a PDF of one sticker's size; what users write is text, never markup."""
    html, pdf = tmp_path / "label.html", tmp_path / "label.pdf"
    name = "<b>Beet</b> & soup"
    words = ("label", RECIPE, "--name", name, "-o", html, "-o", pdf, "--shelf", shelf)
    assert run(*words).code == 0
    assert "&lt;b&gt;Beet&lt;/b&gt; &amp; soup" in html.read_text(encoding="utf-8")
    (page,) = PdfReader(io.BytesIO(pdf.read_bytes())).pages
    size = [round(float(side) / 72 * 25.4) for side in (page.mediabox.width, page.mediabox.height)]
    assert size == [89, 41]
    assert "Letdown 6:1, 4 coats over silver" in page.extract_text()
    assert run(*words).code == 2  # nothing is overwritten
    assert run(*words, "--force").code == 0


def test_standard_output(shelf: Path, run: Run) -> None:
    """`-o -` is the page and nothing else."""
    ran = run("label", RECIPE, "-o", "-", "--shelf", shelf)
    assert ran.out.startswith("<!DOCTYPE html>")
    assert ran.out.rstrip().endswith("</html>")
    assert run("label", RECIPE, "-o", "-", "--json", "--shelf", shelf).code == 2


@pytest.mark.parametrize(
    ("words", "said"),
    [(("--date", "31.3.25"), "is no day"), (("-o", "label.doc"), ".html, .pdf and - are allowed")],
)
def test_bad_input_is_told(shelf: Path, run: Run, words: tuple[str, ...], said: str) -> None:
    """Wrong usage ends with 2 and says what is allowed."""
    ran = run("label", RECIPE, *words, "--shelf", shelf)
    assert ran.code == 2
    assert said in ran.err


def test_decimal_parts_are_numbers_of_the_document(shelf: Path, run: Run) -> None:
    """A recipe of decimal parts, letdown and coats is a JSON document too."""
    recipe = RECIPE.replace("2 ", "2.5 ").replace("4 coats", "3.5 coats")
    document = run("label", recipe, "--shelf", shelf, "--json").document
    assert document["coats"] == 3.5
    assert 2.5 in document["blend"].values()
