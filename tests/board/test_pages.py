"""The pages say what the commands say, and lead from an empty folder to a kept job."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest

import fewtone
from fewtone.colorimetry import Light
from fewtone.jobs import Book
from fewtone.report.swatches import swatch
from visitor import Answer, Visitor, open_board

BASE = "/lamp-bench"
LINE, TARGET = "2 peony + 1 poppy, 8:1, 6 coats over silver", "34.1,59.3,12.5"
LAB = {"L": "34.1", "a": "59.3", "b": "12.5"}
ASKED_FOR = {"recipe": LINE, "target": TARGET}

Document = Callable[..., dict[str, Any]]


@pytest.mark.trial
def test_shelf_says_what_learn_says(visitor: Visitor, document: Document) -> None:
    """Fit, doubt, suspects and what to spray next, of a shelf learnt elsewhere and learnt here."""
    page = visitor.get(f"{BASE}/shelf")
    elsewhere = document("learn")
    assert page.figures("spray_next_de00") == elsewhere["spray_next_de00"]
    assert "No panel looks wrong" in page.words
    learnt = learn(visitor, page)
    told = document("learn")
    assert len(told["toners"]) == 12
    for name in ("median_de00", "worst_de00", "left_out_de00"):
        wanted = [toner[name] for toner in told["toners"].values()]
        shown = learnt.figures(name)
        assert shown[-12:] == wanted
    assert learnt.figures("spray_next_de00") == told["spray_next_de00"]
    for line in told["spray_next"]:
        assert line in learnt.words
    assert told["suspects"] == []
    assert "No panel looks wrong" in learnt.words


@pytest.mark.trial
def test_a_suspect_is_told_with_what_to_do(
    visitor: Visitor, home: Path, document: Document
) -> None:
    """A panel noted under the name of another toner: named, and learnt without at a touch."""
    file = home / "lamp-bench" / "readings.csv"
    text = file.read_text()
    sprayed, noted = "P030,white,2 poppy + 1 ember,6,3,", "P030,white,2 poppy + 1 dusk,6,3,"
    assert sprayed in text
    file.write_text(text.replace(sprayed, noted))
    page = learn(visitor, visitor.get(f"{BASE}/shelf"))
    (suspect,) = document("learn")["suspects"]
    assert suspect["panel"] == "P030"
    assert suspect["explanation"] in page.words
    assert page.figures("suspect_de00") == [suspect["left_out_de00"]]
    form = next(form for form in page.forms if ("leave_out", "P030") in form.fields)
    without = wait_for(visitor, visitor.send(form))
    assert "Learnt without P030" in without.words
    assert "No panel looks wrong" in without.words


def test_what_was_told_of_other_curves_is_not_shown(visitor: Visitor, home: Path) -> None:
    """Without what `learn` told, the page says plainly that learning shows it."""
    (home / "lamp-bench" / "learnt.json").unlink()
    page = visitor.get(f"{BASE}/shelf")
    assert "is said once they are learnt here" in page.words
    assert not page.figures("median_de00")


def test_learning_says_how_far_it_is(visitor: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each step as it is reached; nothing but what the library said."""
    from fewtone.board import bench
    from fewtone.learning import STEPS

    at_it, go_on = threading.Event(), threading.Event()

    def learn_slowly(*_: object, progress: Callable[[int, int], None], **__: object) -> None:
        progress(2, len(STEPS))
        at_it.set()
        go_on.wait(30)

    monkeypatch.setattr(bench, "learn", learn_slowly)
    page = visitor.send(visitor.get(f"{BASE}/shelf").form(f"{BASE}/learn"))
    assert at_it.wait(30)
    page = visitor.get(f"{BASE}/learn")
    assert 'max="4" value="2"' in page.text
    assert page.words.count(": done") == 2
    assert f"{STEPS[2].capitalize()}: at it" in page.words
    go_on.set()
    assert "Learn again" in wait_for(visitor, page).words


def test_ask_says_what_match_says(visitor: Visitor, document: Document) -> None:
    """The picks, the best over each ground, the others; and each leads on to its recipe."""
    form = visitor.get(f"{BASE}/ask").form(f"{BASE}/ask", method="get")
    page = visitor.send(form, **LAB, max_toners="2")
    told = document("match", TARGET, "--by-ground", "--max-toners", "2")
    assert page.status == 200
    assert page.figures("target") == told["target"]["lab"]
    picks = {told["picks"][name]["recipe"]: told["picks"][name] for name in told["picks"]}
    others = [each for each in told["recipes"] if each["recipe"] not in picks]
    shown = [*picks.values(), *told["grounds"], *others]
    assert page.figures("de00") == [each["de00"] for each in shown]
    assert page.figures("pass_probability") == [each["pass_probability"] for each in shown]
    assert page.figures("unevenness") == [each["unevenness"] for each in shown]
    costs = document("compare", *picks, LINE.replace("6 coats", "7 coats"))["recipes"]
    per_litre = [each["cost_per_litre"] for each in costs[: len(picks)]]
    assert page.figures("cost_per_litre") == per_litre
    assert page.figures("cost_per_m2") == [each["cost_per_m2"] for each in costs[: len(picks)]]
    led_to = {
        parse_qs(urlsplit(link).query)["recipe"][0]
        for link in page.links
        if urlsplit(link).path == f"{BASE}/recipe" and "recipe=" in link
    }
    assert led_to >= {each["recipe"] for each in shown}


def test_ask_takes_rules_as_the_command_does(visitor: Visitor, document: Document) -> None:
    """Grounds, letdowns, coats, toners left out, tolerance and largest part."""
    form = visitor.get(f"{BASE}/ask").form(f"{BASE}/ask", method="get")
    page = visitor.send(
        form,
        **LAB,
        ground=["silver", "brass"],
        letdown=["6", "8"],
        coats_from="3",
        coats_to="5",
        without=["poppy"],
        tolerance="2,5",
        max_part="3",
    )
    told = document(
        *("match", TARGET, "--by-ground", "--ground", "silver,brass", "--letdown", "6,8"),
        *("--coats", "3-5", "--without", "poppy", "--tolerance", "2.5", "--max-part", "3"),
    )
    lines = {each["recipe"] for each in (*told["grounds"], *told["recipes"])}
    assert set(recipes_on(page)) >= lines
    assert set(page.figures("de00")) >= {each["de00"] for each in told["grounds"]}
    assert {line.split(" over ")[1] for line in lines} == {"silver", "brass"}
    assert f"{told['proof']['admissible']:,}" in page.words


def test_a_colour_out_of_reach_says_what_would_help(visitor: Visitor, document: Document) -> None:
    """In the words of the command, and how far off it is."""
    page = visitor.get(f"{BASE}/ask", L="60", a="-90", b="30", max_toners="1", ground="silver")
    rules = ("--max-toners", "1", "--ground", "silver")
    told = document("match", "60,-90,30", "--by-ground", *rules)
    assert told["miss"]["would_help"]
    assert told["picks"]["simplest"] is None
    assert "Nothing on this shelf is within 1.0" in page.words
    assert told["miss"]["words"] in page.words
    for help_ in told["miss"]["would_help"]:
        assert help_["words"] in page.words


def test_a_swatch_of_the_deck_is_a_target(visitor: Visitor, document: Document) -> None:
    """Found by number, by name, by nearness; touched, it is what is asked for."""
    page = visitor.get(f"{BASE}/ask")
    assert {"108", "115"} <= swatches_on(page)
    assert swatches_on(visitor.get(f"{BASE}/ask", find="beet")) == {"108"}
    near = visitor.get(f"{BASE}/ask", near=TARGET)
    first = near.text.index('name="swatch" value="')
    assert near.text[first:].startswith('name="swatch" value="108"')
    answer = visitor.get(f"{BASE}/ask", swatch="108", max_toners="2")
    deck = Path(__file__).parents[2] / "examples" / "swatches.csv"
    told = document("match", "108", "--deck", deck, "--by-ground", "--max-toners", "2")
    assert answer.figures("target") == told["target"]["lab"]
    assert "Beet soup" in answer.words


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"L": "34", "a": "59"}, "three numbers"),
        ({**LAB, "hex": "#102030"}, "said twice"),
        ({"L": "34", "a": "x", "b": "1"}, "is not a target"),
        ({"hex": "#12"}, "no hex colour"),
        ({**LAB, "tolerance": "-1"}, "no tolerance"),
        ({**LAB, "coats_from": "5", "coats_to": "2"}, "oats"),
        ({**LAB, "max_part": "2.5"}, "no whole number"),
        ({"swatch": "no-such"}, "no-such"),
        ({"near": "somewhere"}, "is not a target"),
    ],
)
def test_what_cannot_be_asked_is_told(query: dict[str, str], said: str, visitor: Visitor) -> None:
    """Beside the form, with what was typed still in it."""
    page = visitor.get(f"{BASE}/ask", **query)
    assert page.status == 400
    assert said in page.words
    fields = dict(page.form(f"{BASE}/ask", method="get").fields)
    for name in ("L", "a", "b", "hex", "near", "tolerance"):
        assert fields[name] == query.get(name, "")


def test_recipe_says_what_check_and_letdown_say(visitor: Visitor, document: Document) -> None:
    """Every figure on the page, the wall's too."""
    page = visitor.get(f"{BASE}/recipe", **ASKED_FOR)
    about = (LINE, "--target", TARGET)
    check, letdown = document("check", *about), document("letdown", *about)
    recipe, steps = check["recipe"], letdown["steps"]
    assert recipe["recipe"] in page.words
    assert page.figures("lab_sd") == recipe["lab_sd"]
    sprayed = [step for step in steps if step["coats"]]
    changes = [change["de00"] for change in check["what_if"]]
    assert page.figures("de00") == [
        recipe["de00"],
        *(step["de00"] for step in sprayed),
        *changes,
    ]
    assert page.figures("pass_probability") == [
        recipe["pass_probability"],
        *(step["pass_probability"] for step in sprayed),
    ]
    assert page.figures("unevenness") == [recipe["unevenness"]]
    assert page.figures("moved_de00") == [change["moved_de00"] for change in check["what_if"]]
    labs = [*recipe["lab"], *(value for seen in check["lights"] for value in seen["lab"])]
    assert page.figures("lab") == labs
    assert page.figures("inconstancy") == [seen["inconstancy"] for seen in check["lights"][1:]]


def test_every_step_moves_the_recipe_by_one(visitor: Visitor) -> None:
    """Parts, letdown, coats and ground, up and down, and what is added; each is a link."""
    page = visitor.get(f"{BASE}/recipe", **ASKED_FOR)
    moved = recipes_on(page)
    for line in (
        "1 peony + 1 poppy, 8:1, 6 coats over silver",
        "3 peony + 1 poppy, 8:1, 6 coats over silver",
        "1 peony, 8:1, 6 coats over silver",
        "1 peony + 1 poppy, 8:1, 6 coats over silver",
        "2 peony + 1 poppy, 6:1, 6 coats over silver",
        "2 peony + 1 poppy, 8:1, 5 coats over silver",
        "2 peony + 1 poppy, 8:1, 7 coats over silver",
        "2 peony + 1 poppy, 8:1, 6 coats over white",
        "2 peony + 1 poppy, 8:1, 6 coats over brass",
        "2 peony + 1 poppy, 8:1, 3 coats over graphite",
    ):
        assert line in moved, line
    adding = page.form(f"{BASE}/recipe", method="get")
    more = visitor.send(adding, recipe="2 peony + 1 poppy + 1 ash, 8:1, 6 coats over silver")
    assert "2 peony + 1 ash + 1 poppy" in more.words
    assert more.status == 200


def test_the_wall_in_another_light(visitor: Visitor, home: Path) -> None:
    """The colours are those of that light; ΔE00 stays that of the target's own."""
    day, lamp = (visitor.get(f"{BASE}/recipe", **ASKED_FOR, lit=lit) for lit in ("", "A"))
    assert day.figures("de00") == lamp.figures("de00")
    assert "In A/10 the target is not known" in lamp.words
    shelf = fewtone.load(home / "lamp-bench")
    seen = shelf.predict([LINE.replace("silver", "brass")], light="A").lab
    assert lamp.text.count(swatch(seen[0], Light("A", 10)).hex) >= 1
    assert day.text.count('data-swatch="target"') > lamp.text.count('data-swatch="target"')


def test_a_step_is_answered_within_a_tenth_of_a_second(
    visitor: Visitor, report_figure: Callable[[str], None]
) -> None:
    """On the demo shelf, by the time the processor takes for it: page and all, twenty new steps."""
    visitor.get(f"{BASE}/recipe", **ASKED_FOR)
    took = []
    for coats in range(2, 7):
        for parts in range(1, 5):
            line = f"{parts} peony + 1 umber, 6:1, {coats} coats over brass"
            began = time.process_time()
            assert visitor.get(f"{BASE}/recipe", recipe=line, target=TARGET).status == 200
            took.append(time.process_time() - began)
    report_figure(
        f"a step on the page Recipe: median {1000 * np.median(took):.0f} ms of a processor"
    )
    assert np.median(took) < 0.1


def test_simplify_says_what_the_command_says(visitor: Visitor, document: Document) -> None:
    """Few-toner recipes for a formula, what each loses over each ground, and the way to hold it."""
    formula = "41.5 peony + 22 poppy + 3 ash, 6:1, 4 coats over silver"
    page = visitor.get(f"{BASE}/simplify", recipe=formula)
    answer = document("simplify", formula, "--max-toners", "2")
    picks = {p["recipe"]: p for p in answer["picks"].values() if p is not None}
    others = [each for each in answer["recipes"] if each["recipe"] not in picks]
    rows = [*picks.values(), *others]
    assert page.figures("de00") == [row["de00"] for row in rows]
    assert page.figures("formula") == answer["formula"]["lab"]
    losses = [off for row in rows for off in row["grounds_de00"].values()]
    assert page.figures("ground_de00") == losses
    assert set(recipes_on(page)) >= set(picks)


def test_ask_says_what_keying_the_ground_saves(visitor: Visitor, document: Document) -> None:
    """The proposals of the command, with their chance once the ground is read."""
    rules = ("--ground", "white,graphite", "--max-toners", "2", "--letdown", "6")
    answer = document("match", "20,20,10", "--by-ground", "--keyed", *rules)
    page = visitor.get(
        f"{BASE}/ask",
        **{"L": "20", "a": "20", "b": "10", "keyed": "yes", "max_toners": "2", "letdown": "6"},
        ground=["white", "graphite"],
    )
    proposals = answer["keying"]["proposals"]
    assert proposals
    assert page.figures("keyed_de00") == [each["recipe"]["de00"] for each in proposals]
    assert page.figures("keyed_now") == [each["pass_probability_now"] for each in proposals]
    assert "Over a keyed ground" in page.words


@pytest.mark.trial
def test_rows_for_a_keyed_ground_are_written(visitor: Visitor, home: Path) -> None:
    """What a keyed ground needs to be read stands in the readings at a touch."""
    page = visitor.get(
        f"{BASE}/ask",
        **{"L": "20", "a": "20", "b": "10", "keyed": "yes", "max_toners": "2", "letdown": "6"},
        ground=["white", "graphite"],
    )
    form = page.form(f"{BASE}/learn", having="rows_for")
    line = dict(form.fields)["rows_for"]
    shelf = wait_for(visitor, visitor.send(form))
    assert "rows wait to be filled in" in shelf.words
    ground = line.split(" over ")[1]
    assert f",{ground}," in (home / "lamp-bench" / "readings.csv").read_text()


def test_pour_says_what_batch_says(visitor: Visitor, document: Document) -> None:
    """Amounts and running totals, by volume, by area, by weight and exact."""
    for said, words in (
        ({"volume": "600"}, ("--volume", "600ml")),
        ({"volume": "0,6 l", "extra": "5%"}, ("--volume", "0,6 l", "--extra", "5%")),
        ({"area": "1.4"}, ("--area", "1.4m2")),
        ({"area": "15sqft", "way": "exact"}, ("--area", "15sqft", "--exact")),
        ({"volume": "300", "way": "weight"}, ("--volume", "300ml", "--by-weight")),
    ):
        page = visitor.get(f"{BASE}/pour", recipe=LINE, **said)
        told = document("batch", LINE, *words)
        assert page.figures("total_ml") == [told["total_ml"]], said
        pours = [*told["pours"], *told["rounded_pours"]]
        for name in ("ml", "grams", "running_ml", "running_grams"):
            assert page.figures(name) == [pour[name] for pour in pours], (said, name)
        for line in told["care"]:
            assert line in page.words
        assert "data sheets, local code and licensed practice come first" in page.words
    wrong = visitor.get(f"{BASE}/pour", recipe=LINE, volume="much")
    assert wrong.status == 400
    assert "is not a number and a unit" in wrong.words


def test_panel_says_what_adjust_says(visitor: Visitor, document: Document) -> None:
    """Advice, additions, expectations, reasons, and the recipe to write down."""
    page = visitor.get(f"{BASE}/panel", **ASKED_FOR, L1="37", a1="56", b1="11", left="350")
    told = document("adjust", LINE, "--target", TARGET, "--reading", "37,56,11", "--left", "350ml")
    assert told["advice"] == "add"
    assert page.figures("ml") == [one["ml"] for one in told["additions"]]
    assert page.figures("grams") == [one["grams"] for one in told["additions"]]
    expected = told["expected_de00"]
    assert page.figures("expected_de00") == [expected["after"], expected["as_is"]]
    assert page.figures("pass_probability") == [told["after"]["pass_probability"]]
    assert page.figures("next_de00") == [told["next_time"]["de00"]]
    assert page.figures("read") == told["readings"][0]["lab"]
    for reason in told["why"]:
        assert reason in page.words
    assert told["after"]["recipe"] in page.words
    half = visitor.get(f"{BASE}/panel", **ASKED_FOR, L1="37", a1="56")
    assert half.status == 400
    assert "has not all of" in half.words


@pytest.mark.trial
def test_from_an_empty_folder_to_a_kept_job_without_scripts(tmp_path: Path, book: Path) -> None:
    """Demo shelf, learn, ask, hold, keep, pour, read, keep: by forms and links alone."""
    with open_board(tmp_path / "toners", book=book) as doors:
        visitor = Visitor(doors)
        first = visitor.get("/")
        assert "No shelf here yet" in first.words
        demo = next(form for form in first.forms if ("what", "demo") in form.fields)
        shelf = visitor.send(demo)
        assert (tmp_path / "toners" / "lamp-bench" / "readings.csv").exists()
        learnt = learn(visitor, shelf)
        assert "Learnt 12 toners" in learnt.words
        asked = visitor.get(f"{BASE}/ask")
        answer = visitor.send(asked.form(f"{BASE}/ask", method="get"), **LAB)
        assert recipes_on(answer)[0] == LINE
        link = next(link for link in answer.links if "&recipe=" in link)
        held = visitor.ask("GET", link)
        kept = visitor.send(held.form(f"{BASE}/keep"), name="hall lamp", note="gun B")
        assert "note: gun B" in kept.words
        pour = visitor.get(f"{BASE}/pour", job="hall lamp", volume="300")
        noted = visitor.send(pour.form(f"{BASE}/pour"))
        assert "Written down in the job hall lamp" in noted.words
        read = visitor.get(f"{BASE}/panel", job="hall lamp", L1="36", a1="57", b1="12", left="250")
        done = visitor.send(read.form(f"{BASE}/panel"), learn_from="yes")
        assert "The panel is kept" in done.words
        ended = visitor.send(done.form(f"{BASE}/job", having="how"), how="passed")
        assert "passed" in ended.words
        found = visitor.get(f"{BASE}/book", like="34,59,12")
        assert "hall lamp" in found.words
    job = Book(book).job("hall lamp")
    kinds = [entry.kind for entry in job.entries]
    assert kinds == ["recipe", "note", "batch", "panel", "adjustment", "ended"]
    assert job.panels[0].data["readings"] == ["36,57,12"]
    assert "kept-1" in (tmp_path / "toners" / "lamp-bench" / "readings.csv").read_text()


def test_the_book_is_the_books(visitor: Visitor, document: Document) -> None:
    """What the command line kept is found on the wall, by words and by colour, with its figures."""
    document("job", "keep", "red lamp, hall", LINE, "--target", TARGET)
    wall = visitor.get(f"{BASE}/book", words="hall", like="34,58,12", within="5")
    told = document("job", "find", "hall", "--like", "34,58,12", "--within", "5")
    assert wall.figures("de00") == [job["de00"] for job in told["jobs"]]
    assert "red lamp, hall" in wall.words
    assert "No job" in visitor.get(f"{BASE}/book", words="nothing of the kind").words
    page = visitor.get(f"{BASE}/job", job="Red Lamp, Hall")
    assert page.figures("moved_de00") == [0.0]
    assert visitor.get(f"{BASE}/job", job="none").status == 409


def test_a_form_that_is_sent_twice_counts_once(visitor: Visitor, book: Path) -> None:
    """A double touch, or a page that is loaded again, writes nothing a second time."""
    held = visitor.get(f"{BASE}/recipe", **ASKED_FOR)
    form = held.form(f"{BASE}/keep")
    first = visitor.send(form, name="twice")
    again = visitor.send(form, name="twice")
    assert first.status == again.status == 200
    page = visitor.get(f"{BASE}/panel", job="twice", L1="36", a1="57", b1="12")
    panel = page.form(f"{BASE}/panel")
    for _ in range(3):
        assert visitor.send(panel).status == 200
    assert len(Book(book).job("twice").panels) == 1


def test_hostile_names_are_text(tmp_path: Path, book: Path) -> None:
    """Labels, names of jobs and notes that are markup stand there as they were typed."""
    bad = "<script>alert(1)</script>"
    with open_board(tmp_path / "toners", book=book) as doors:
        visitor = Visitor(doors)
        form = visitor.get("/").form("/", having="toners")
        page = visitor.send(form, name=bad, toners=f'"><img src=x onerror=alert(2)>,{bad}')
        assert page.status == 200
        assert bad not in page.text
        place = urlsplit(page.address).path.split("/")[1]
        rows = visitor.get(f"/{place}/rows", panel=bad)
        assert rows.status == 400
        assert bad not in rows.text
        assert bad in rows.words
        for query in ({"hex": bad}, {"L": bad, "a": bad, "b": bad}, {"find": bad}):
            asked = visitor.get(f"/{place}/ask", **query)
            assert bad not in asked.text
        assert bad not in visitor.get(f"/{place}/book", words=bad).text


def test_a_shelf_that_is_not_learnt_says_so(tmp_path: Path, book: Path) -> None:
    """Pages that need curves name what to do, in the words of the pages."""
    with open_board(tmp_path / "toners", book=book) as doors:
        visitor = Visitor(doors)
        form = visitor.get("/").form("/", having="toners")
        visitor.send(form, name="Mine", toners="Ruby, Sky")
        answer = visitor.get("/mine/ask")
        assert answer.status == 409
        assert "“Learn” on the page Shelf" in answer.words
        assert "fewtone learn" not in answer.words


def learn(visitor: Visitor, page: Answer) -> Answer:
    """Learn from the page Shelf, and wait for the end."""
    place = urlsplit(page.address).path.split("/")[1]
    return wait_for(visitor, visitor.send(page.form(f"/{place}/learn")))


def wait_for(visitor: Visitor, answer: Answer) -> Answer:
    """Look again until learning is done."""
    for _ in range(300):
        if "Learning from the readings" not in answer.words:
            return answer
        time.sleep(0.1)
        answer = visitor.get(urlsplit(answer.address).path)
    raise AssertionError("learning does not end")


def recipes_on(page: Answer) -> list[str]:
    """The recipes that the page's links lead to, in order."""
    return [
        parse_qs(urlsplit(link).query)["recipe"][0]
        for link in page.links
        if urlsplit(link).path.endswith("/recipe") and "recipe=" in link
    ]


def swatches_on(page: Answer) -> set[str]:
    """The numbers of the chips on the page."""
    return {piece.split('"')[0] for piece in page.text.split('name="swatch" value="')[1:]}
