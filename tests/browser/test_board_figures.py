"""Every figure that a page of the board shows is the one that ``--json`` has.

Each page is opened in the browser, and every ``data`` element on it is read: its field, its value
and the text that a person sees. The values of each field, in order, must be those of the command's
document; the text must be the value, rounded; and a number with a decimal point or a per cent sign
that stands on the page by itself must stand in that document too.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import quote, urlencode

import pytest
from playwright.sync_api import Browser, Page

import fewtone
from fewtone.cli import main
from fewtone.jobs import Book, Entry
from visitor import open_board

pytestmark = pytest.mark.trial

Document = dict[str, Any]
Figures = dict[str, list[float]]
Told = Callable[..., Document]

LINE, TARGET = "2 peony + 1 poppy, 8:1, 6 coats over silver", "34.1,59.3,12.5"
HELD = urlencode({"recipe": LINE, "target": TARGET})
OTHERS = ("1 peony, 6:1, 4 coats over silver", "2 peony + 1 ash, 8:1, 5 coats over brass")
KEYED = "1 umber, 6:1, 3 coats over 2 white + 1 graphite"
DECK = Path(__file__).parents[2] / "examples" / "swatches.csv"
# Of all shown figures: the value and the text; and the text of the page without them.
READ = """() => {
  const all = document.getElementById("main").cloneNode(true);
  const data = [...all.querySelectorAll("data")];
  const found = data.map(e => [e.dataset.field, e.value, e.textContent]);
  data.forEach(e => e.remove());
  all.querySelectorAll("form input, form select, form textarea, footer").forEach(e => e.remove());
  return [found, all.textContent];
}"""


class Bench(NamedTuple):
    """A board with a learnt demo shelf, a deck and a book, and what commands answer on them."""

    page: Page
    base: str
    told: Told


@pytest.fixture(scope="module")
def opened(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The board, and a browser that came in."""
    root = tmp_path_factory.mktemp("figures")
    folder = root / "toners" / "lamp-bench"
    fewtone.new(folder, demo=True)
    # A panel noted under the name of another toner, so that there is a suspect.
    readings = folder / "readings.csv"
    sprayed, noted = "P030,white,2 poppy + 1 ember,6,3,", "P030,white,2 poppy + 1 dusk,6,3,"
    assert sprayed in readings.read_text()
    readings.write_text(readings.read_text().replace(sprayed, noted))
    fewtone.learn(folder)
    book = Book(root / "book.db")
    shelf = fewtone.load(folder)
    shelf.keep_job(book, "hall lamp", target=TARGET, recipe=LINE)
    book.add("hall lamp", Entry("ended", {"how": "passed"}))
    shelf.keep_job(book, "stair lamp", target="36,57,12", recipe=OTHERS[0])
    with open_board(root / "toners", book=book.path, deck=DECK) as doors:
        page = browser.new_page()
        page.goto(doors.way_in)
        yield page, f"{doors.address}lamp-bench/", folder, book.path
        page.close()


@pytest.fixture
def bench(opened: Any, capsys: pytest.CaptureFixture[str]) -> Bench:
    """The same, with the command line beside it."""
    page, base, folder, book = opened

    def told(*words: object) -> Document:
        capsys.readouterr()
        about: list[object] = ["--json"]
        if words[0] in ("job", "match"):
            about += ["--book", book]
        if words[:2] not in (("job", "find"), ("job", "show")):
            about += ["--shelf", folder]
        with pytest.raises(SystemExit):
            main([str(word) for word in (*words, *about)])
        document: Document = json.loads(capsys.readouterr().out)
        return document

    return Bench(page, base, told)


def compare(bench: Bench, path: str, wanted: Figures, *documents: Document) -> None:
    """Open a page and hold all its figures against the documents."""
    if path:
        bench.page.goto(bench.base + path)
    found, rest = bench.page.evaluate(READ)
    shown: Figures = {}
    for field, value, text in found:
        shown.setdefault(field, []).append(float(value))
        if field != "running_ml":  # which is told in the unit of the cup
            assert is_rounded(float(value), text), (field, value, text)
    wanted = {name: values for name, values in wanted.items() if values}
    assert shown == wanted
    said = json.dumps([*documents, LINE, *OTHERS], ensure_ascii=False)
    known = set(re.findall(r"\d+(?:\.\d+)?", said))
    for number in re.findall(r"(?<![\d.])(\d+\.\d+|\d+(?= ?%))", rest.replace(",", " ")):
        assert number in known or f"{float(number):g}" in known, (number, path)


def check_swatches(bench: Bench, *documents: Document) -> int:
    """Hold the code of each recipe's swatch against its Lab, within 1/255; return how many.

    By colour-science, from the Lab that the document has for that recipe.
    """
    labs: dict[str, list[float]] = {}

    def gather(value: Any) -> None:
        if isinstance(value, dict):
            if isinstance(value.get("recipe"), str) and "lab" in value:
                labs[value["recipe"]] = value["lab"]
            for inner in value.values():
                gather(inner)
        elif isinstance(value, list):
            for inner in value:
                gather(inner)

    gather(list(documents))
    codes: list[list[str]] = bench.page.locator("[data-recipe]").evaluate_all(
        """all => all.map(each => [each.dataset.recipe,
            each.querySelector("[data-swatch=prediction]").dataset.hex])"""
    )
    for recipe, code in codes:
        assert off_screen(labs[recipe], code) <= 1, (recipe, code)
    return len(codes)


def off_screen(lab: list[float], code: str) -> float:
    """How far a code is off what colour-science makes of a Lab in D65/10, in steps of 1/255."""
    import colour
    import numpy as np

    white = colour.CCS_ILLUMINANTS["cie_10_1964"]["D65"]
    seen = colour.adaptation.chromatic_adaptation_CMCCAT2000(
        100 * colour.Lab_to_XYZ(lab, white),
        100 * colour.xy_to_XYZ(white),
        100 * colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["cie_2_1931"]["D65"]),
        L_A1=1000,
        L_A2=1000,
    )
    rgb = np.clip(255 * np.asarray(colour.XYZ_to_sRGB(seen / 100)), 0, 255)
    return float(np.abs(rgb - list(bytes.fromhex(code[1:]))).max())


def is_rounded(value: float, text: str) -> bool:
    """Whether a text is the value, rounded to as many decimals as it shows."""
    plain = text.replace("\N{MINUS SIGN}", "-").replace(",", "").strip()
    number, _, unit = plain.partition(" ")
    exact = Decimal(value) * (100 if unit.startswith("%") else 1)
    if unit in ("% more", "% less"):
        assert (unit == "% more") == (value >= 0)
        exact = abs(exact)
    else:
        assert unit in ("", "%"), text
    decimals = len(number.partition(".")[2])
    # Half a step of what is shown, and no more than doubles need.
    return abs(Decimal(number) - exact) <= Decimal(1).scaleb(-decimals) / 2 + Decimal("1e-9")


def figures(rows: list[Document], **extra: Any) -> Figures:
    """What a list of recipes shows of each."""
    return {
        "de00": [row["de00"] for row in rows if row["de00"] is not None],
        "pass_probability": [
            row["pass_probability"] for row in rows if row["pass_probability"] is not None
        ],
        "unevenness": [row["unevenness"] for row in rows],
        **extra,
    }


def picks_of(document: Document) -> list[Document]:
    """The picks, each once."""
    picks = {p["recipe"]: p for p in document["picks"].values() if p is not None}
    return list(picks.values())


def others_of(document: Document) -> list[Document]:
    """The trade-off without the picks."""
    picked = {pick["recipe"] for pick in picks_of(document)}
    return [each for each in document["recipes"] if each["recipe"] not in picked]


def helped(document: Document) -> Figures:
    """What would help, and what each of it brings."""
    would = [each["recipe"] for each in document["miss"]["would_help"]]
    assert would
    return {
        "help_de00": [row["de00"] for row in would],
        "help_probability": [
            row["pass_probability"] for row in would if row["pass_probability"] is not None
        ],
    }


def costs(bench: Bench, rows: list[Document]) -> Figures:
    """What recipes cost, as `compare` says."""
    lines = [row["recipe"] for row in rows]
    told = bench.told("compare", *lines, "1 mist, 6:1, 2 coats over white")["recipes"][: len(rows)]
    return {name: [each[name] for each in told] for name in ("cost_per_litre", "cost_per_m2")}


def test_shelf(bench: Bench) -> None:
    """Fit, doubt, suspects and what to spray next are those of `learn`."""
    page = bench.page
    page.goto(bench.base + "shelf")
    page.get_by_role("button", name="Learn again").click()
    page.wait_for_selector("#suspects", timeout=120_000)
    told = bench.told("learn")
    toners = told["toners"].values()
    assert [suspect["panel"] for suspect in told["suspects"]] == ["P030"]
    wanted = {
        "readings": [told["readings"]],
        "panels": [told["panels"]],
        "median_de00": [told["median_de00"], *(toner["median_de00"] for toner in toners)],
        "toner_readings": [toner["readings"] for toner in toners],
        "worst_de00": [toner["worst_de00"] for toner in toners],
        "left_out_de00": [toner["left_out_de00"] for toner in toners],
        "suspect_de00": [suspect["left_out_de00"] for suspect in told["suspects"]],
        "spray_next_de00": told["spray_next_de00"],
    }
    compare(bench, "", wanted, told)


@pytest.mark.parametrize("rules", [("--max-toners", "2"), ()])
def test_answer(rules: tuple[str, ...], bench: Bench) -> None:
    """Picks, what each costs, the best over each ground, the others, and what was kept before."""
    told = bench.told("match", TARGET, "--by-ground", *rules)
    picks = picks_of(told)
    assert told["kept_jobs"]
    wanted = figures(
        [*picks, *told["grounds"], *others_of(told)],
        target=told["target"]["lab"],
        admissible=[told["proof"]["admissible"]],
        kept_de00=[kept["recipe"]["de00"] for kept in told["kept_jobs"]],
        chip_de00=[],
        **costs(bench, picks),
    )
    most = "&max_toners=2" if rules else ""
    compare(bench, f"ask?L=34.1&a=59.3&b=12.5{most}", wanted, told)
    assert check_swatches(bench, told) == len(wanted["unevenness"])


def test_answer_of_versions(bench: Bench) -> None:
    """Every pick's ΔE00 and chance to each version, the chance for any, and each by itself."""
    told = bench.told(
        "match", TARGET, "--also", "35,58,13", "--also", "33,60,12", "--by-ground",
        "--max-toners", "2",
    )  # fmt: skip
    picks = picks_of(told)
    rows = [*picks, *told["grounds"], *others_of(told)]
    wanted = figures(
        rows,
        target=told["target"]["lab"],
        admissible=[told["proof"]["admissible"]],
        each_de00=[one["de00"] for pick in picks for one in pick["each"]],
        each_probability=[one["pass_probability"] for pick in picks for one in pick["each"]],
        pass_any=[pick["pass_any"] for pick in picks],
        version_de00=[version["best"]["de00"] for version in told["versions"]],
        version_probability=[version["best"]["pass_probability"] for version in told["versions"]],
        kept_de00=[kept["recipe"]["de00"] for kept in told["kept_jobs"]],
        **costs(bench, picks),
    )
    # Of several versions there is a chance for each and one for any.
    assert wanted["pass_probability"] == []
    query = "L=34.1&a=59.3&b=12.5&L2=35&a2=58&b2=13&L3=33&a3=60&b3=12&max_toners=2"
    compare(bench, f"ask?{query}", wanted, told)
    assert check_swatches(bench, told) > 3


def test_answer_out_of_reach(bench: Bench) -> None:
    """What is nearest, and what would help."""
    told = bench.told("match", "60,-90,30", "--by-ground", "--max-toners", "1")
    picks = picks_of(told)
    wanted = figures(
        [*picks, *told["grounds"], *others_of(told)],
        target=told["target"]["lab"],
        admissible=[told["proof"]["admissible"]],
        **helped(told),
        **costs(bench, picks),
    )
    compare(bench, "ask?L=60&a=-90&b=30&max_toners=1", wanted, told)


def test_answer_over_keyed_grounds(bench: Bench) -> None:
    """Each proposal with its chances, and what stands beside it."""
    rules = ("--ground", "white,graphite", "--max-toners", "2", "--letdown", "6")
    told = bench.told("match", "20,20,10", "--by-ground", "--keyed", *rules)
    proposals, picks = told["keying"]["proposals"], picks_of(told)
    assert proposals
    wanted = figures(
        [*picks, *told["grounds"], *others_of(told)],
        target=told["target"]["lab"],
        admissible=[told["proof"]["admissible"]],
        keyed_de00=[each["recipe"]["de00"] for each in proposals],
        keyed_probability=[each["recipe"]["pass_probability"] for each in proposals],
        keyed_now=[each["pass_probability_now"] for each in proposals],
        beside_de00=[each["beside"]["de00"] for each in proposals],
        **helped(told),
        **costs(bench, picks),
    )
    query = "L=20&a=20&b=10&keyed=yes&max_toners=2&letdown=6&ground=white&ground=graphite"
    compare(bench, f"ask?{query}", wanted, told)
    assert check_swatches(bench, told) > 3


def test_chips_near_a_colour(bench: Bench) -> None:
    """ΔE00 of each chip to what it is compared with, by another route: colour-science."""
    import colour

    bench.page.goto(f"{bench.base}ask?near={quote(TARGET)}")
    found, _ = bench.page.evaluate(READ)
    rows = [line.split(",") for line in DECK.read_text().splitlines()[1:]]
    numbers: list[str] = bench.page.locator("button[name=swatch]").evaluate_all(
        "all => all.map(each => each.value)"
    )
    labs = {row[0]: [float(value) for value in row[2:5]] for row in rows}
    assert len(numbers) == len(labs) == len(found)
    for number, (field, value, text) in zip(numbers, found, strict=True):
        off = float(colour.delta_E(labs[number], [34.1, 59.3, 12.5], method="CIE 2000"))
        assert field == "chip_de00"
        assert abs(float(value) - off) < 1e-6
        assert is_rounded(float(value), text)


@pytest.mark.parametrize("lit", ["", "A"])
def test_recipe(lit: str, bench: Bench) -> None:
    """The recipe held, the wall of colours, other lights, and what if."""
    about = (LINE, "--target", TARGET)
    check, letdown = bench.told("check", *about), bench.told("letdown", *about)
    held = check["recipe"]
    steps = [step for step in letdown["steps"] if step["coats"]]
    wanted = {
        "target": check["target"]["lab"],
        "de00": [row["de00"] for row in (held, *steps, *check["what_if"])],
        "pass_probability": [row["pass_probability"] for row in (held, *steps)],
        "unevenness": [held["unevenness"]],
        "lab": [*held["lab"], *(value for seen in check["lights"] for value in seen["lab"])],
        "lab_sd": held["lab_sd"],
        "inconstancy": [seen["inconstancy"] for seen in check["lights"][1:]],
        "moved_de00": [change["moved_de00"] for change in check["what_if"]],
        **costs(bench, [held]),
    }
    compare(bench, f"recipe?{HELD}&lit={lit}", wanted, check, letdown)


def test_wall(bench: Bench) -> None:
    """Each cell of the wall stands for its own coats and ground, its code for its own Lab."""
    letdown = bench.told("letdown", LINE, "--target", TARGET)
    bench.page.goto(f"{bench.base}recipe?{HELD}")
    for step in letdown["steps"]:
        cell = bench.page.locator(f"[data-ground={step['ground']}] [data-coats='{step['coats']}']")
        shown: list[float] = cell.locator("data").evaluate_all(
            "all => all.map(each => parseFloat(each.value))"
        )
        if step["coats"]:
            assert shown == [step["de00"], step["pass_probability"]]
        code = cell.locator("[data-swatch=prediction]").get_attribute("data-hex") or ""
        assert off_screen(step["lab"], code) <= 1


def test_simplify(bench: Bench) -> None:
    """What each simpler recipe loses, and over which ground."""
    formula = "41.5 peony + 22 poppy + 3 ash, 6:1, 4 coats over silver"
    told = bench.told("simplify", formula, "--max-toners", "2")
    rows = [*picks_of(told), *others_of(told)]
    wanted = figures(
        rows,
        formula=told["formula"]["lab"],
        ground_de00=[off for row in rows for off in row["grounds_de00"].values()],
    )
    compare(bench, f"simplify?recipe={quote(formula)}", wanted, told)
    assert check_swatches(bench, told) == len(rows)


def test_side_by_side(bench: Bench) -> None:
    """Recipes, each over every ground and in every light, and what they cost."""
    told = bench.told("compare", LINE, *OTHERS, "--target", TARGET)
    rows, further = told["recipes"], told["recipes"][1:]
    wanted = figures(
        rows,
        target=told["target"]["lab"],
        lab=[value for row in rows for value in row["lab"]],
        de00_from_first=[row["de00_from_first"] for row in further],
        ground_de00=[seen["de00"] for row in rows for seen in row["grounds"]],
        light_de00=[seen["de00_from_first"] for row in further for seen in row["lights"]],
        cost_per_litre=[row["cost_per_litre"] for row in rows],
        cost_per_m2=[row["cost_per_m2"] for row in rows],
    )
    beside = urlencode([("beside", line) for line in OTHERS])
    compare(bench, f"compare?{HELD}&{beside}", wanted, told)
    assert check_swatches(bench, told) == len(rows)


@pytest.mark.parametrize(
    ("line", "query", "options"),
    [
        (LINE, {"volume": "600"}, ("--volume", "600ml")),
        (LINE, {"area": "1.4", "extra": "50"}, ("--area", "1.4m2", "--extra", "50ml")),
        (LINE, {"volume": "610", "way": "exact"}, ("--volume", "610ml", "--exact")),
        (LINE, {"volume": "610", "way": "weight"}, ("--volume", "610ml", "--by-weight")),
        (LINE, {"volume": "600", "reducer": "20"}, ("--volume", "600ml", "--reducer", "20%")),
        (LINE, {"use_up": "peony 40, poppy 35"}, ("--from", "peony=40ml", "--from", "poppy=35ml")),
        (
            KEYED,
            {"volume": "600", "ground_volume": "300"},
            ("--volume", "600ml", "--ground-volume", "300ml"),
        ),
    ],
)
def test_pour(line: str, query: dict[str, str], options: tuple[str, ...], bench: Bench) -> None:
    """Amounts, running totals, what rounding does, and the ways beside it."""
    told = bench.told("batch", line, *options)
    ground, reducer = told["ground"], told["reducer"]
    lists = [told["pours"], told["rounded_pours"], ground["pours"] if ground else []]
    rounded = told["rounding_de00"]
    places = (told["on"] and rounded, told["rounded_pours"] and rounded is not None)
    wanted: Figures = {
        name: [pour[name] for pours in lists for pour in pours if pour[name] is not None]
        for name in ("ml", "grams", "running_ml", "running_grams")
    }
    wanted |= {
        "total_ml": [told["total_ml"]],
        "total_grams": [told["total_grams"]],
        "wanted_ml": [told["wanted_ml"]],
        "extra_ml": [told["extra_ml"]] if told["extra_ml"] else [],
        "cost": [] if told["cost"] is None else [told["cost"]],
        "rounding_de00": [rounded for place in places if place],
        "other_ml": [other["total_ml"] for other in told["alternatives"]],
        "other_de00": [other["rounding_de00"] for other in told["alternatives"]],
    }
    if reducer:
        wanted |= {
            "reducer_percent": [reducer["percent"]],
            "usual_percent": [reducer["usual_percent"]],
            "reducer_de00": [reducer["de00"]],
            "coats_needed": [reducer["coats_needed"]],
            "whole_coats_de00": [reducer["whole_coats_de00"]],
        }
    if ground:
        wanted |= {
            "ground_ml": [ground["total_ml"]],
            "ground_wanted_ml": [ground["wanted_ml"]],
        }
    about = urlencode({"recipe": line, **query})
    # What the cup shows is told in its own unit and in lines.
    units = {
        f"{pour['cup_lines']:.1f}": 0 for pours in lists for pour in pours if pour["cup_lines"]
    }
    compare(bench, f"pour?{about}", wanted, told, {"lines": list(units)})


@pytest.mark.parametrize(
    ("readings", "left"),
    [
        (("37,56,11",), "350"),
        (("34.2,59.1,12.3",), ""),
        (("37,56,11", "37.2,56.1,10.8"), "350"),
        (("36.5,58.5,7.4 at 5 coats", "34.3,58.9,11.9"), ""),
    ],
)
def test_panel(readings: tuple[str, ...], left: str, bench: Bench) -> None:
    """What was read, what to do, and what that is expected to bring."""
    options = [word for reading in readings for word in ("--reading", reading)]
    options += ["--left", f"{left}ml"] if left else []
    told = bench.told("adjust", LINE, "--target", TARGET, *options)
    goes_on = told["advice"] != "stop"
    after, whole = told["after"], told["next_time"]
    differs = whole["recipe"] != after["recipe"]
    wanted: Figures = {
        "target": told["target"]["lab"],
        "ml": [one["ml"] for one in told["additions"]],
        "grams": [one["grams"] for one in told["additions"] if one["grams"] is not None],
        "total_ml": [told["total_ml"]] if told["additions"] else [],
        "coats_probability": [told["coats"]["pass_probability"]] if told["additions"] else [],
        "expected_de00": [
            told["expected_de00"]["after"],
            *([told["expected_de00"]["as_is"]] if goes_on else []),
        ],
        "pass_probability": [after["pass_probability"]],
        "as_is_probability": [told["as_is"]["pass_probability"]] if goes_on else [],
        "unevenness": [after["unevenness"]],
        "read": [value for reading in told["readings"] for value in reading["lab"]],
        "spread": [v for reading in told["readings"] for v in reading["spread"] or ()],
        "next_de00": [whole["de00"]] if differs else [],
        "next_probability": [whole["pass_probability"]] if differs else [],
    }
    query = {"recipe": LINE, "target": TARGET, **({"left": left} if left else {})}
    for number, reading in enumerate(readings, start=1):
        lab, _, at = reading.partition(" at ")
        query |= {f"{n}{number}": v for n, v in zip("Lab", lab.split(","), strict=True)}
        query |= {f"at{number}": at.removesuffix(" coats")} if at else {}
    compare(bench, f"panel?{urlencode(query)}", wanted, told)


def test_bottle(bench: Bench) -> None:
    """How strong a new bottle is, how sure that is, and how far the readings are off."""
    recipe = "1 peony, 6:1, 3 coats over white"
    lab = ",".join(str(value) for value in bench.told("check", recipe)["recipe"]["lab"])
    darker = bench.told("check", recipe.replace("3 coats", "4 coats"))["recipe"]["lab"]
    for reading in (lab, ",".join(f"{value:.1f}" for value in darker)):
        told = bench.told("bottle", recipe, "--reading", reading)
        unsure = told["verdict"] in ("same", "unclear")
        wanted: Figures = {
            "read": told["readings"][0]["lab"],
            **{name: [told[name]] for name in ("de00_before", "de00_after", "de00_left")},
        }
        if told["verdict"] != "other":
            named = ("strength", "strength_sd", "deviation", "bottle_part")
            wanted |= {name: [told[name]] for name in named}
        if unsure:
            wanted["next_sd"] = [told["next_sd"]]
        query = dict(zip(("L1", "a1", "b1"), reading.split(","), strict=True))
        at = {"after": f"{told['strength']:.2f}", "use": f"{told['strength']:.3f}"}
        compare(bench, f"bottle?{urlencode({'recipe': recipe, **query})}", wanted, told, at)


@pytest.mark.parametrize("keyed", [False, True])
def test_reach(keyed: bool, bench: Bench) -> None:
    """From which lightness to which over each ground, and how far colours go at each."""
    told = bench.told("reach", "--target", TARGET, "--deck", DECK, *(["--keyed"] if keyed else []))
    levels = sorted({o["lightness"] for g in told["grounds"] for o in g["outlines"]})
    chroma = [
        round(max((a * a + b * b) ** 0.5 for a, b in outline["ab"]))
        for level in levels
        for ground in told["grounds"]
        if not ground["keyed"]
        for outline in ground["outlines"]
        if outline["lightness"] == level
    ]
    path = f"reach?{urlencode({'target': TARGET, **({'keyed': 'yes'} if keyed else {})})}"
    wanted: Figures = {
        "target": told["target"]["lab"],
        "darkest": [ground["darkest"] for ground in told["grounds"]],
        "lightest": [ground["lightest"] for ground in told["grounds"]],
    }
    bench.page.goto(bench.base + path)
    shown: list[float] = bench.page.locator("data[data-field=chroma]").evaluate_all(
        "all => all.map(each => parseFloat(each.value))"
    )
    assert len(shown) == len(chroma)
    # The document's corners are rounded.
    assert max(abs(one - other) for one, other in zip(shown, chroma, strict=True)) <= 0.51
    wanted["chroma"] = shown
    compare(bench, path, wanted, told)
    inside = {each["request"] for each in told["swatches"] if each["within"]}
    chips: list[str] = bench.page.locator(".chips b").all_inner_texts()
    assert set(chips) == inside


def test_book(bench: Bench) -> None:
    """How near each job is to a colour; of one job what was asked and what it is today."""
    told = bench.told("job", "find", "--like", "34,58,12", "--within", "9")
    assert len(told["jobs"]) == 2
    compare(
        bench,
        "book?like=34,58,12&within=9",
        {"de00": [job["de00"] for job in told["jobs"]]},
        told,
    )
    for name in ("hall lamp", "stair lamp"):
        job = bench.told("job", "show", name)["job"]
        again = bench.told("job", "again", name)
        then = f"{job['entries'][0]['data']['de00']:.2f}"
        instead = again["instead"]
        wanted = figures(
            [again["recipe"]],
            target=job["lab"],
            moved_de00=[again["moved_de00"]],
            instead_de00=[instead["de00"]] if instead else [],
        )
        compare(bench, f"job?job={quote(name)}", wanted, job, again, {"then": then})


def test_sheet_and_label(bench: Bench, tmp_path: Path) -> None:
    """The printed pages are those that the commands write, to the letter."""
    for command, options in (("sheet", ("--target", TARGET)), ("label", ())):
        file = tmp_path / f"{command}.html"
        bench.told(command, LINE, *options, "-o", file)
        query = HELD if command == "sheet" else urlencode({"recipe": LINE})
        answer = bench.page.goto(f"{bench.base}{command}?{query}")
        assert answer is not None
        assert answer.text() == file.read_text(encoding="utf-8")
