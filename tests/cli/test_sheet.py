"""`fewtone sheet` as a user types it."""

from __future__ import annotations

import datetime
import io
from pathlib import Path

import pytest
from pypdf import PdfReader

import fewtone
from cli.conftest import Run
from lamp_shelf import write_lamp_shelf

RECIPE = "2 marigold + 1 dusk, 6:1, 4 coats over silver"
TARGET = "36,-8,28"


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A learnt lamp bench."""
    return write_lamp_shelf(tmp_path_factory.mktemp("sheet") / "lamp-bench")


def test_it_writes_one_page(shelf: Path, run: Run, tmp_path: Path) -> None:
    """The file is an HTML page about the recipe; the output says where, the caution follows."""
    file = tmp_path / "page.html"
    ran = run("sheet", RECIPE, "--target", TARGET, "-o", file, "--shelf", shelf)
    assert (ran.code, ran.out) == (0, f"Wrote {file}\n")
    assert "safety data sheets" in ran.err
    html = file.read_text(encoding="utf-8")
    assert html.startswith("<!DOCTYPE html>")
    assert RECIPE in html
    assert datetime.date.today().isoformat() in html
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]


def test_the_document_holds_the_commands_documents(shelf: Path, run: Run, tmp_path: Path) -> None:
    """With --json: what check, batch and letdown answer, and what was written."""
    file = tmp_path / "page.html"
    about = (RECIPE, "--shelf", shelf, "--json")
    wanted = ("--target", TARGET)
    document = run("sheet", *about, *wanted, "--area", "1.4m2", "-o", file).document
    assert document["written"] == [str(file)]
    assert document["check"] == run("check", *about, *wanted).document
    assert document["batch"] == run("batch", *about, "--area", "1.4m2").document
    assert document["letdown"] == run("letdown", *about, *wanted).document


def test_the_python_call_gives_the_same_page(shelf: Path, run: Run, tmp_path: Path) -> None:
    """`Shelf.sheet(...).html()` is what the command writes."""
    file = tmp_path / "page.html"
    run("sheet", RECIPE, "--target", TARGET, "--volume", "1l", "-o", file, "--shelf", shelf)
    page = fewtone.load(shelf).sheet(RECIPE, target=TARGET, volume="1l")
    assert page.html() == file.read_text(encoding="utf-8")


def test_nothing_is_overwritten_without_force(shelf: Path, run: Run, tmp_path: Path) -> None:
    """What is there stays as it was, page and PDF both, until --force says otherwise."""
    file, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    pdf.write_text("mine")
    words = ("sheet", RECIPE, "-o", file, "-o", pdf, "--shelf", shelf)
    refused = run(*words)
    assert refused.code == 2
    assert str(pdf) in refused.err
    assert "--force" in refused.err
    assert pdf.read_text() == "mine"
    assert not file.exists()
    assert run(*words, "--force").code == 0
    assert pdf.read_bytes().startswith(b"%PDF")
    assert file.exists()


@pytest.mark.parametrize(("paper", "points"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_the_pdf_is_one_page_of_the_paper(
    paper: str, points: tuple[int, int], shelf: Path, run: Run, tmp_path: Path
) -> None:
    """The PDF holds the whole page on one sheet of the paper that was asked for."""
    file, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    words = ("sheet", RECIPE, "--target", TARGET, "-o", file, "-o", pdf, "--shelf", shelf)
    assert run(*words, "--paper", paper).code == 0
    (page,) = PdfReader(io.BytesIO(pdf.read_bytes())).pages
    size = (round(float(page.mediabox.width)), round(float(page.mediabox.height)))
    assert size == points
    text = page.extract_text()
    assert RECIPE in text
    assert "A swatch is an aid" in text


def test_a_missing_library_is_told(
    shelf: Path, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without WeasyPrint a PDF is refused with the way to get it, and nothing is written."""
    import sys

    monkeypatch.setitem(sys.modules, "weasyprint", None)
    file, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    ran = run("sheet", RECIPE, "-o", file, "-o", pdf, "--shelf", shelf)
    assert ran.code == 1
    assert "fewtone[pdf]" in ran.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--target", "green"), 2, "is not a target"),
        (("--volume", "much"), 2, "much"),
        (("--volume", "1l", "--area", "1m2"), 2, "one of the two"),
        (("--light", "D66/10"), 2, "D66"),
        (("--paper", "a3"), 2, "a3"),
    ],
)
def test_bad_input_writes_nothing(
    words: tuple[str, ...], code: int, said: str, shelf: Path, run: Run, tmp_path: Path
) -> None:
    """A clear message, and no file."""
    ran = run("sheet", RECIPE, *words, "-o", tmp_path / "page.html", "--shelf", shelf)
    assert ran.code == code
    assert said in ran.err
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_told(shelf: Path, run: Run, tmp_path: Path) -> None:
    """The page goes nowhere, and the message names the file."""
    file = tmp_path / "nowhere" / "page.html"
    ran = run("sheet", RECIPE, "-o", file, "--shelf", shelf)
    assert ran.code == 1
    assert str(file) in ran.err


def test_an_output_must_be_named(shelf: Path, run: Run) -> None:
    """Without -o it is wrong usage."""
    assert run("sheet", RECIPE, "--shelf", shelf).code == 2


def test_standard_output_and_other_files(shelf: Path, run: Run, tmp_path: Path) -> None:
    """`-o -` is the page alone; a PDF can be all there is; other kinds of file are refused."""
    ran = run("sheet", RECIPE, "-o", "-", "--shelf", shelf)
    assert ran.out.startswith("<!DOCTYPE html>")
    pdf = tmp_path / "only.pdf"
    assert run("sheet", RECIPE, "-o", pdf, "--shelf", shelf).code == 0
    assert pdf.read_bytes().startswith(b"%PDF")
    refused = run("sheet", RECIPE, "-o", tmp_path / "page.doc", "--shelf", shelf)
    assert refused.code == 2
    assert [path.name for path in tmp_path.iterdir()] == ["only.pdf"]


def test_a_swatch_of_the_shelfs_own_deck(run: Run, tmp_path: Path) -> None:
    """`deck` in shelf.toml stands in for --deck; a swatch goes by number or name, any case."""
    folder = write_lamp_shelf(tmp_path / "lamp")
    (folder / "swatches.csv").write_text(
        "number,L,a,b,name\n108,36,-8,28,Beet soup\n9,50,1,2,Oat\n"
    )
    settings = folder / "shelf.toml"
    settings.write_text('deck = "swatches.csv"\n' + settings.read_text())
    for said in ("108", "beet SOUP"):
        ran = run("check", RECIPE, "--target", said, "--shelf", folder)
        assert "Target: 108 Beet soup:" in ran.out
    html = run("sheet", RECIPE, "--target", "Beet soup", "-o", "-", "--shelf", folder).out
    assert "<b>108 Beet soup</b>" in html
    wrong = run("check", RECIPE, "--target", "Beat soup", "--shelf", folder)
    assert wrong.code == 2
    assert "Did you mean '108'?" in wrong.err
