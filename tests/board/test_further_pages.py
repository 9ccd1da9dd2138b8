"""Beside the way from a target to a kept job: bottle, instrument, reach, comparison."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

import fewtone
from exports import NM, cgats, colour_object, cxf, specification, spectrum
from fewtone.io.settings import load_settings
from visitor import Answer, Visitor, open_board

Document = Callable[..., dict[str, Any]]

BASE = "/lamp-bench"
LINE, TARGET = "2 peony + 1 poppy, 8:1, 6 coats over silver", "34.1,59.3,12.5"
OWN = "/bench"
GREY = [round(0.2 + 0.001 * index, 6) for index in range(len(NM))]


@pytest.fixture
def instrument(tmp_path: Path) -> Iterator[tuple[Visitor, Path]]:
    """A board on a shelf whose strip waits for spectra."""
    folder = tmp_path / "toners" / "bench"
    folder.mkdir(parents=True)
    (folder / "shelf.toml").write_text(
        "[toners.marigold]\n[toners.dusk]\n[grounds.silver]\nkind = 'metallic'\n"
    )
    head = "panel,ground,blend,medium_parts,coats,date,note," + ",".join(map(str, NM))
    rows = ("P001,silver,,,0,,bare,", "P014,silver,marigold,6,1,,,", "P014,silver,marigold,6,2,,,")
    (folder / "readings.csv").write_text("\n".join([head, *rows, ""]))
    with open_board(tmp_path / "toners", book=tmp_path / "book.db") as doors:
        yield Visitor(doors), folder / "readings.csv"


def paste(visitor: Visitor, text: str, **more: str) -> Answer:
    """Paste an instrument's file."""
    form = visitor.get(f"{OWN}/take").form(f"{OWN}/take")
    return visitor.send(form, text=text, **more)


@pytest.mark.parametrize("kind", ["cgats", "cxf", "utf-16"])
def test_what_an_instrument_exported_is_pasted(
    kind: str, instrument: tuple[Visitor, Path], tmp_path: Path
) -> None:
    """First shown, then written: the file that `take` makes of it, to the byte."""
    visitor, file = instrument
    before = file.read_bytes()
    names = ("P014 1", "P014 2", "2 marigold + 1 dusk, 6:1, 3 coats over silver")
    if kind == "cgats":
        data = cgats([[name, *GREY] for name in names], ["SAMPLE_NAME", *(f"nm{n}" for n in NM)])
        text = data.decode()
    else:
        objects = [colour_object(name, spectrum(GREY)) for name in names]
        data = cxf(objects, [specification()])
        text = data.decode()
        if kind == "utf-16":  # what a browser reads out of such a file still says so
            head, _, rest = text.partition("?>")
            rest = rest if head.startswith("<?") else text
            text = f"<?xml version='1.0' encoding='UTF-16'?>{rest}"
    shown = paste(visitor, text)
    assert shown.status == 200
    assert "2 filled in, 1 added" in shown.words
    assert file.read_bytes() == before
    form = next(form for form in shown.forms if "write" in form.names)
    written = visitor.send(form, write="yes")
    assert "3 rows were written" in written.words
    other = tmp_path / "other"
    other.mkdir()
    (other / "shelf.toml").write_bytes((file.parent / "shelf.toml").read_bytes())
    (other / "readings.csv").write_bytes(before)
    (tmp_path / "pasted").write_bytes(data)
    fewtone.take(other, tmp_path / "pasted")
    assert file.read_bytes() == (other / "readings.csv").read_bytes()
    again = paste(visitor, text)
    assert "Nothing in it is new" in again.words


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "Nothing was pasted"),
        ("Dear all", "neither CGATS text"),
        ("/etc/passwd", "neither CGATS text"),
        ("<?xml version='1.0' encoding='utf-8'?><!DOCTYPE x SYSTEM 'file:///etc/passwd'><x/>", ""),
        ("SAMPLE_NAME,L,a,b\nP099,40,1,2\n", "P099"),
        ("<script>alert(1)</script>", ""),
    ],
)
def test_what_cannot_be_taken_is_told(
    text: str, said: str, instrument: tuple[Visitor, Path]
) -> None:
    """Nothing is written, no file is opened, and what was pasted stays in its field as text."""
    visitor, file = instrument
    before = file.read_bytes()
    page = paste(visitor, text, write="yes", light="D65/10")
    assert page.status == 400
    assert said in page.words
    assert "root:" not in page.text
    assert "<script>alert" not in page.text
    assert file.read_bytes() == before
    fields = dict(page.form(f"{OWN}/take").fields)
    assert fields["text"] == text


def test_a_new_bottle_is_put_to_use(visitor: Visitor, home: Path, document: Document) -> None:
    """Two panels that are stronger alike: the strength of `bottle`, written as `--apply` does."""
    recipe = "1 peony, 6:1, 3 coats over white"
    # As much more of everything as a bottle 12 % stronger brings.
    stronger = fewtone.load(home / "lamp-bench").predict(["1 peony, 6:1, 3.36 coats over white"])
    reading = [f"{value:.2f}" for value in stronger.lab[0]]
    told = document("bottle", recipe, *("--reading", ",".join(reading)) * 2)
    assert told["verdict"] in ("differs", "unclear")
    query = {f"{name}{n}": v for n in (1, 2) for name, v in zip("Lab", reading, strict=True)}
    page = visitor.get(f"{BASE}/bottle", recipe=recipe, **query)
    assert page.figures("strength") == [told["strength"]]
    done = visitor.send(page.form(f"{BASE}/bottle"))
    assert f"strength of peony {told['strength']:g}" in done.words
    settings = load_settings(home / "lamp-bench")
    assert float(settings.toners["peony"].strength) == told["strength"]
    held = visitor.get(f"{BASE}/recipe", recipe=recipe)
    assert held.figures("lab")[:3] == document("check", recipe)["recipe"]["lab"]


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"recipe": "1 peony, 6:1, 3 coats over white", "L1": "40"}, "has not all of"),
        ({"L1": "40", "a1": "1", "b1": "2"}, "recipe that the panel was sprayed with is missing"),
        ({"recipe": LINE, "L1": "40", "a1": "1", "b1": "2"}, "which bottle is new"),
        ({"recipe": LINE, "toner": "ash", "L1": "40", "a1": "1", "b1": "2"}, "not in the recipe"),
    ],
)
def test_what_says_nothing_of_a_bottle(query: dict[str, str], said: str, visitor: Visitor) -> None:
    """Told beside the form, with what was typed still in it."""
    page = visitor.get(f"{BASE}/bottle", **query)
    assert page.status == 400
    assert said in page.words
    assert dict(page.form(f"{BASE}/bottle", method="get").fields)["L1"] == "40"


def test_picks_are_looked_at_side_by_side(visitor: Visitor) -> None:
    """From the answer, from the recipe held, from simpler ones; and each leads on."""
    answer = visitor.get(f"{BASE}/ask", L="34.1", a="59.3", b="12.5")
    (link,) = [link for link in answer.links if urlsplit(link).path == f"{BASE}/compare"]
    beside = visitor.ask("GET", link)
    assert len(beside.figures("unevenness")) == len(beside.figures("de00")) > 1
    assert beside.figures("target") == [34.1, 59.3, 12.5]
    held = visitor.get(f"{BASE}/recipe", recipe=LINE, target=TARGET)
    (link,) = [link for link in held.links if urlsplit(link).path == f"{BASE}/compare"]
    form = visitor.ask("GET", link).form(f"{BASE}/compare", method="get")
    assert dict(form.fields)["recipe"] == LINE
    two = visitor.send(form, beside=["mist, 6:1, 2 coats over white", ""])
    assert len(two.figures("de00_from_first")) == 1
    simpler = visitor.get(
        f"{BASE}/simplify", recipe="41 peony + 22 poppy, 6:1, 4 coats over silver"
    )
    (link,) = [link for link in simpler.links if urlsplit(link).path == f"{BASE}/compare"]
    assert visitor.ask("GET", link).status == 200


@pytest.mark.parametrize(
    ("beside", "said"),
    [
        (["one", "two"], "This line does not read as it should"),
        ([f"{n} peony + 1 ash, 6:1, 3 coats over white" for n in range(2, 8)], "do not fit"),
        (["1 nothing, 6:1, 3 coats over white"], "is not a toner"),
    ],
)
def test_what_cannot_stand_side_by_side(beside: list[str], said: str, visitor: Visitor) -> None:
    """Told, with the lines still there to mend."""
    page = visitor.get(f"{BASE}/compare", recipe=LINE, beside=beside)
    assert page.status == 400
    assert said in page.words
    fields = page.form(f"{BASE}/compare", method="get").fields
    assert next(value for name, value in fields if name in ("recipe", "beside")) == LINE


def test_the_target_is_marked_in_the_reach(visitor: Visitor, document: Document) -> None:
    """In the plane nearest to its lightness, and told over which grounds it lies within."""
    told = document("reach", "--target", TARGET)
    page = visitor.get(f"{BASE}/reach", target=TARGET)
    assert f"the outline over {', '.join(told['target']['within'])}" in page.words
    assert page.text.count('class="taken"') == 1
    assert "L* 30, the target is the cross" in page.words
    assert "with the target marked" in page.text
    levels = {outline["lightness"] for g in told["grounds"] for outline in g["outlines"]}
    assert page.text.count('<div class="plane">') == len(levels)
    # No tint beside swatches: all is drawn in greys.
    planes = page.text[page.text.index('class="planes"') : page.text.index("</ul>\n</section>")]
    inks = {piece.split('"')[0] for piece in planes.split('stroke="#')[1:]}
    assert all(ink[:2] == ink[2:4] == ink[4:] for ink in inks)
    far = visitor.get(f"{BASE}/reach", target="60,-90,30")
    assert "no outline" in far.words
    assert visitor.get(f"{BASE}/reach", target="x").status == 400
