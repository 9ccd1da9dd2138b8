"""Typing readings into rows: checked as readings.csv is, and nothing that was typed is lost."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from visitor import Answer, Visitor, open_board

FOLDER = Path("toners") / "mine"

Made = tuple[Visitor, Path]


@pytest.fixture
def made(tmp_path: Path, book: Path) -> Iterator[Made]:
    """A new shelf of two toners, with rows to fill in, and a visitor in front of it."""
    with open_board(tmp_path / "toners", book=book) as doors:
        visitor = Visitor(doors)
        form = visitor.get("/").form("/", having="toners")
        visitor.send(form, name="Mine", toners="Ruby, Sky", metallic="silver")
        yield visitor, tmp_path / FOLDER / "readings.csv"


def cells(page: Answer, row: int) -> dict[str, str]:
    """The names of a row's fields by what they are called."""
    form = page.form("/mine/rows")
    key = [value for name, value in form.fields if name == "row"][row]
    names = [name for name, _ in form.fields if name.startswith(f"cell-{key}-")]
    columns = ["panel", "ground", "blend", "medium_parts", "coats", "date", "note"]
    columns += ["L", "a", "b", "L A/10", "a A/10", "b A/10"]
    by_place = {int(name.rsplit("-", 1)[1]): name for name in names}
    return {columns[place]: name for place, name in by_place.items()}


def test_a_reading_is_typed_into_its_row(made: Made) -> None:
    """It stands in the file as if typed there; every other byte is as it was."""
    visitor, file = made
    before = file.read_text().split("\n")
    overview = visitor.get("/mine/readings")
    assert "ruby-white" in overview.words
    page = visitor.get("/mine/rows", panel="ruby-white")
    row = cells(page, 0)
    answer = visitor.send(
        page.form("/mine/rows"), **{row["L"]: "52,50", row["a"]: "61.2", row["b"]: "−8"}
    )
    assert "1 row was written" in answer.words
    after = file.read_text().split("\n")
    changed = [pair for pair in zip(before, after, strict=True) if pair[0] != pair[1]]
    ((old, new),) = changed
    assert old.startswith("ruby-white,white,ruby,")
    assert new == old.removesuffix(",,,,,,") + ",52.5,61.2,-8,,,"


def test_what_is_wrong_is_told_and_what_was_typed_stays(made: Made) -> None:
    """Row, column and value, as the file's own check says them; nothing is written."""
    visitor, file = made
    before = file.read_bytes()
    page = visitor.get("/mine/rows", panel="sky-silver")
    row = cells(page, 1)
    answer = visitor.send(
        page.form("/mine/rows"), **{row["L"]: "52", row["a"]: "61", row["b"]: "much"}
    )
    assert answer.status == 409
    assert "'much' is not a b*" in answer.words
    assert dict(answer.form("/mine/rows").fields)[row["b"]] == "much"
    assert 'aria-invalid="true"' in answer.text
    assert file.read_bytes() == before
    mended = visitor.send(answer.form("/mine/rows"), **{row["b"]: "7"})
    assert "1 row was written" in mended.words


def test_a_new_panel_is_added_and_a_row_taken_out(made: Made) -> None:
    """Rows are appended; what was taken out counts for nothing and is gone from the pages."""
    visitor, file = made
    page = visitor.get("/mine/rows")
    values: dict[str, str] = {}
    for place, coats in enumerate(("1", "3")):
        row = cells(page, place)
        values |= {row["panel"]: "X1", row["ground"]: "white", row["blend"]: "2 Ruby + 1 Sky"}
        values |= {row["medium_parts"]: "8", row["coats"]: coats}
        values |= {row["L"]: "40", row["a"]: "10", row["b"]: "1"}
    assert "2 rows were written" in visitor.send(page.form("/mine/rows"), **values).words
    assert file.read_text().rstrip().endswith("X1,white,2 Ruby + 1 Sky,8,3,,,40,10,1")
    page = visitor.get("/mine/rows", panel="X1")
    form = page.form("/mine/rows")
    last = [value for name, value in form.fields if name == "row"][-1]
    visitor.send(form, **{f"remove-{last}": "yes"})
    again = visitor.get("/mine/rows", panel="X1").form("/mine/rows")
    assert len([1 for name, _ in again.fields if name == "row"]) == 1


def test_two_tabs_lose_nothing(made: Made) -> None:
    """Rows of others are kept; the same row, changed by both, is written once and told."""
    visitor, file = made
    one, other = (visitor.get("/mine/rows", panel="ruby-white") for _ in range(2))
    first, second = cells(one, 0), cells(one, 1)

    def typed(row: dict[str, str], value: str) -> dict[str, str]:
        return {row["L"]: value, row["a"]: "61", row["b"]: "7"}

    assert visitor.send(one.form("/mine/rows"), **typed(first, "51")).status == 200
    assert visitor.send(other.form("/mine/rows"), **typed(second, "47")).status == 409
    text = file.read_text()
    assert ",51,61,7," in text
    assert ",47,61,7," not in text
    # The second tab had the first row without its reading: it says so, and keeps what was typed.
    stale = visitor.send(other.form("/mine/rows"), once="x", **typed(first, "33"))
    assert stale.status == 409
    assert "was changed by somebody else" in stale.words
    assert "it now says ruby-white, white, ruby" in stale.words
    assert ", 51, 61, 7. Nothing was written" in stale.words
    assert dict(stale.form("/mine/rows").fields)[first["L"]] == "33"
    assert ",33,61,7," not in file.read_text()


def test_a_bad_file_can_be_mended_row_by_row(made: Made) -> None:
    """Faults of other rows do not stand in the way, and are listed with the way to them."""
    visitor, file = made
    lines = file.read_text().split("\n")
    lines = [
        line.replace(",first,,,,,,", ",first,52,x,7,,,") if line.startswith("ruby-white") else line
        for line in lines
    ]
    file.write_text("\n".join(lines))
    overview = visitor.get("/mine/readings", only="all")
    assert overview.words.count("'x' is not an a*") == 3
    page = visitor.get("/mine/rows", panel="sky-white")
    row = cells(page, 0)
    values = {row["L"]: "60", row["a"]: "1", row["b"]: "-20"}
    assert visitor.send(page.form("/mine/rows"), **values).status == 200
    assert ",60,1,-20," in file.read_text()


def test_a_spectrum_is_pasted(visitor: Visitor, home: Path) -> None:
    """Into a shelf that reads spectra; another number of values is told."""
    page = visitor.get("/lamp-bench/rows")
    form = page.form("/lamp-bench/rows")
    film = dict(enumerate(("Q1", "white", "ruby-not", "6", "2")))
    values = {f"cell-new1-{place}": text for place, text in film.items()}
    values["cell-new1-2"] = "peony"
    short = visitor.send(form, **values, **{"paste-new1": "0.2 0.3"})
    assert short.status == 409
    assert "2 values were pasted for 31 wavelengths" in short.words
    spectrum = "\t".join(f"0,{300 + step}" for step in range(31))
    done = visitor.send(form, once="y", **values, **{"paste-new1": spectrum})
    assert "1 row was written" in done.words
    text = (home / "lamp-bench" / "readings.csv").read_text().rstrip()
    assert text.split("\n")[-1].startswith("Q1,white,peony,6,2,,,0.3,0.301,0.302")


def test_a_column_of_control_characters_is_written_out(made: Made) -> None:
    """What else a file has for columns is called by its name, no byte of it raw."""
    visitor, file = made
    header, rest = file.read_text().split("\n", 1)
    file.write_text(header + ",PK\x03\x1b\n" + rest)
    page = visitor.get("/mine/rows")
    assert r"PK\x03\x1b" in page.text
    assert not {"\x03", "\x1b"} & set(page.text)
