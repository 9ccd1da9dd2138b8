"""The commands of the main job: what they print, their JSON, their Python calls."""

from __future__ import annotations

import csv
import math
import subprocess
import sys
from pathlib import Path

import pytest

import fewtone
from booth.make_lamp_bench import write_lab_only
from cli.conftest import Run

TARGET = "38,30,28"
RECIPE = "2 marigold + 1 dusk, 6:1, 4 coats over silver"
PRINTED = 5e-5  # documents carry four digits

RECIPE_KEYS = {
    "recipe",
    "blend",
    "medium_parts",
    "coats",
    "ground",
    "lab",
    "lab_sd",
    "de00",
    "in_tolerance",
    "pass_probability",
    "unevenness",
}


def test_match_answers_as_its_python_call_does(learnt_demo: Path, run: Run) -> None:
    """The document holds the picks, the trade-off and the proof of `Shelf.match`."""
    ran = run("match", TARGET, "--shelf", learnt_demo, "--max-toners", "2", "--json")
    assert ran.code == 0
    document = ran.document
    assert set(document) == {
        *("format", "target", "tolerance", "picks", "recipes", "miss", "proof"),
    }
    assert document["target"]["lab"] == [38, 30, 28]
    assert (document["target"]["illuminant"], document["target"]["observer"]) == ("D65", 10)
    assert document["target"]["geometry"] == "45:0"
    assert document["miss"] is None
    assert document["proof"]["proven"] is True
    best = fewtone.load(learnt_demo).match((38, 30, 28), max_toners=2)
    for name in ("simplest", "surest", "closest"):
        pick, found = getattr(best, name), document["picks"][name]
        assert set(found) >= RECIPE_KEYS
        assert found["recipe"] == str(pick.recipe)
        assert found["blend"] == dict(pick.recipe.blend)
        assert found["lab"] == pytest.approx(list(pick.lab), abs=PRINTED)
        assert found["de00"] == pick.de00 <= document["tolerance"]
        assert found["in_tolerance"] is True
        assert found["unevenness"] == pick.unevenness
    assert [m["recipe"] for m in document["recipes"]] == [str(m.recipe) for m in best.recipes]
    proof = document["proof"]
    assert set(proof) == {"admissible", "colours", "evaluated", "cut", "proven"}
    assert proof["admissible"] == best.proof.admissible >= proof["colours"]
    assert proof["evaluated"] + sum(proof["cut"].values()) == proof["colours"]
    assert proof["cut"]


def test_the_proof_is_explained(learnt_demo: Path, run: Run) -> None:
    """--explain says how many recipes there are, how many each bound cut, and what that proves."""
    words = ("match", TARGET, "--shelf", learnt_demo, "--max-toners", "2")
    proof = run(*words, "--json").document["proof"]
    told = " ".join(run(*words, "--explain").out.split())
    for count, said in (
        (proof["admissible"], "recipes of"),
        (proof["colours"], "different colours"),
        (proof["evaluated"], "were worked out exactly"),
        *((count, f"are cut by a bound on {bound}") for bound, count in proof["cut"].items()),
    ):
        assert f"{count:,} {said}" in told or count == 0
    assert "the picks are proven to be the best" in told
    assert "are cut by" not in run(*words).out


def test_over_which_ground(learnt_demo: Path, run: Run) -> None:
    """--by-ground adds the best recipe over each ground, on screen and in the document."""
    words = ("match", TARGET, "--shelf", learnt_demo, "--max-toners", "2")
    assert "grounds" not in run(*words, "--json").document
    document = run(*words, "--by-ground", "--json").document
    grounds = [recipe["ground"] for recipe in document["grounds"]]
    assert sorted(grounds) == sorted(fewtone.load(learnt_demo).curves.grounds)
    assert (
        document["grounds"][0]["pass_probability"]
        >= (document["picks"]["simplest"]["pass_probability"])
    )
    told = run(*words, "--by-ground").out
    assert all(recipe["recipe"] in told for recipe in document["grounds"])


def test_what_would_help_is_told_with_its_recipe(learnt_demo: Path, run: Run) -> None:
    """Out of reach, each loosened rule stands with ΔE00, chance and recipe; each recipe is true."""
    words = ("match", "85,-5,10", "--shelf", learnt_demo, "--max-toners", "2")
    ran = run(*words, "--json")
    assert ran.code == 3
    helps = {help_["rule"]: help_ for help_ in ran.document["miss"]["would_help"]}
    weaker = helps["medium_parts"]
    assert weaker["value"] == weaker["recipe"]["medium_parts"] > 8
    told = run(*words).out
    for help_ in helps.values():
        assert f"{help_['words']}: ΔE00 {help_['recipe']['de00']:.2f}" in told
        assert help_["recipe"]["recipe"] in told


@pytest.mark.parametrize(
    ("target", "limits"),
    [
        ("85,-5,10", ("--max-toners", "2")),
        ("25,40,20", ("--coats", "2-2", "--ground", "white")),
        ("40,30,-20", ("--use", "marigold,harbour", "--ground", "graphite")),
    ],
)
def test_every_line_of_what_would_help_holds_when_it_is_run(
    target: str, limits: tuple[str, ...], learnt_demo: Path, run: Run
) -> None:
    """`check` gives the ΔE00 and the chance told, `match` with that rule loosened a recipe as near.

    A toner or ground that the shelf lacks cannot be run from here; a unit test puts it there.
    """
    ran = run("match", target, *limits, "--shelf", learnt_demo, "--json")
    assert ran.code == 3
    lines = [
        help_
        for help_ in ran.document["miss"]["would_help"]
        if not help_["rule"].startswith("new_")
    ]
    assert lines
    for help_ in lines:
        told, rule = help_["recipe"], help_["rule"]
        words = ("check", told["recipe"], "--target", target, "--shelf", learnt_demo, "--json")
        checked = run(*words).document["recipe"]
        assert checked["de00"] == pytest.approx(told["de00"], abs=1e-6)
        assert checked["pass_probability"] == told["pass_probability"]
        option, value = {
            "max_toners": ("--max-toners", help_["value"]),
            "max_part": ("--max-part", help_["value"]),
            "medium_parts": ("--letdown", told["medium_parts"]),
            "coats": ("--coats", told["coats"]),
            "grounds": ("--ground", told["ground"]),
            "use": ("--use", ",".join(told["blend"])),
        }[rule]
        kept = [*limits]
        if option in kept:
            place = kept.index(option)
            del kept[place : place + 2]
        loosened = run("match", target, *kept, option, value, "--shelf", learnt_demo, "--json")
        assert loosened.code == (0 if told["in_tolerance"] else 3)
        nearest = loosened.document["picks"]["closest"]["de00"]
        assert nearest <= told["de00"] + 0.05 + 1e-6


def test_a_recipe_is_shown_once(learnt_demo: Path, run: Run) -> None:
    """A recipe that is several picks, or a pick and in the trade-off, stands once on screen."""
    words = ("match", TARGET, "--shelf", learnt_demo)
    document, told = run(*words, "--json").document, run(*words).out
    listed = [*document["picks"].values(), *document["recipes"]]
    for line in {recipe["recipe"] for recipe in listed}:
        assert told.count(line) == 1


def test_the_trade_off_gets_surer_as_it_gets_longer(learnt_demo: Path, run: Run) -> None:
    """Simplest first; each further recipe is likelier to pass; --top limits them."""
    words = ("match", TARGET, "--shelf", learnt_demo, "--max-toners", "2", "--json")
    found = run(*words).document["recipes"]
    size = [(len(m["blend"]), sum(m["blend"].values())) for m in found]
    assert size == sorted(size)
    chances = [m["pass_probability"] for m in found]
    assert chances == sorted(set(chances))
    assert all(m["in_tolerance"] for m in found)
    assert len(run(*words, "--top", "1").document["recipes"]) == 1


def test_the_rules_bind(learnt_demo: Path, run: Run) -> None:
    """Every rule on the command line holds for every recipe of the answer."""
    document = run(
        *("match", TARGET, "--shelf", learnt_demo, "--json", "--tolerance", "30"),
        *("--use", "ash,poppy,ember", "--ground", "brass,silver"),
        *("--letdown", "8,5", "--coats", "3-4", "--max-part", "2", "--max-toners", "2"),
    ).document
    picks = [pick for pick in document["picks"].values() if pick]
    assert picks
    for recipe in [*picks, *document["recipes"]]:
        assert set(recipe["blend"]) <= {"ash", "poppy", "ember"}
        assert recipe["ground"] in ("brass", "silver")
        assert recipe["medium_parts"] in (8, 5)
        assert recipe["coats"] in (3, 4)
        assert max(recipe["blend"].values()) <= 2
    words = ("match", TARGET, "--shelf", learnt_demo, "--json", "--max-toners", "1")
    document = run(*words, "--without", "umber,ash").document
    assert not {"umber", "ash"} & {t for recipe in document["recipes"] for t in recipe["blend"]}


def test_nothing_within_tolerance(learnt_demo: Path, run: Run) -> None:
    """Exit code 3, the closest recipe, and a miss in figures and words that agree."""
    words = ("match", "38,80,-80", "--shelf", learnt_demo, "--max-toners", "2")
    ran = run(*words, "--json")
    assert ran.code == 3
    document = ran.document
    assert document["picks"]["simplest"] is None
    assert document["picks"]["surest"] is None
    closest, miss = document["picks"]["closest"], document["miss"]
    assert closest["de00"] > document["tolerance"]
    assert miss["lightness"] == pytest.approx(closest["lab"][0] - 38, abs=0.006)
    dull = math.hypot(80, 80) - math.hypot(*closest["lab"][1:])
    assert miss["chroma"] == pytest.approx(-dull, abs=0.006)
    assert f"{dull:.1f} too dull" in miss["words"]
    assert all(help_["recipe"]["de00"] < closest["de00"] for help_ in miss["would_help"])
    ran = run(*words)
    assert ran.code == 3
    assert closest["recipe"] in ran.out
    assert "too dull" in ran.out


def test_the_first_screen_answers_the_question(learnt_demo: Path, run: Run) -> None:
    """The simplest recipe stands in the first lines; no caution yet."""
    ran = run("match", TARGET, "--shelf", learnt_demo, "--max-toners", "2")
    best = fewtone.load(learnt_demo).match(TARGET, max_toners=2).simplest
    assert best is not None
    assert str(best.recipe) in "\n".join(ran.out.splitlines()[:4])
    assert "safety data sheet" not in ran.out + ran.err


def test_check_without_and_with_a_target(learnt_demo: Path, run: Run) -> None:
    """The predicted colour and spectrum; a target adds the difference and its direction."""
    document = run("check", RECIPE, "--shelf", learnt_demo, "--json").document
    recipe = document["recipe"]
    assert recipe["recipe"] == RECIPE
    assert recipe["de00"] is recipe["in_tolerance"] is recipe["pass_probability"] is None
    predicted = fewtone.load(learnt_demo).predict([fewtone.parse(RECIPE)])
    assert recipe["lab"] == pytest.approx(predicted.lab[0].tolist(), abs=PRINTED)
    assert list(document["reflectance"]) == [str(nm) for nm in range(400, 701, 10)]
    assert list(document["reflectance"].values()) == pytest.approx(
        predicted.reflectance[0].tolist(), abs=PRINTED
    )
    target = ",".join(str(value) for value in recipe["lab"])
    again = run("check", RECIPE, "--target", target, "--shelf", learnt_demo, "--json").document
    assert again["recipe"]["de00"] == pytest.approx(0, abs=1e-3)
    assert again["recipe"]["in_tolerance"] is True
    ran = run("check", RECIPE, "--target", TARGET, "--shelf", learnt_demo)
    assert "too light" in ran.out


def test_match_and_check_agree(learnt_demo: Path, run: Run) -> None:
    """What match says of a recipe, check says too."""
    pick = run("match", TARGET, "--shelf", learnt_demo, "--max-toners", "2", "--json").document[
        "picks"
    ]["closest"]
    checked = run(
        "check", pick["recipe"], "--target", TARGET, "--shelf", learnt_demo, "--json"
    ).document["recipe"]
    assert checked == pick


def test_check_takes_decimals_and_tells_what_is_unusual(demo: Path, run: Run) -> None:
    """An inherited formula is predicted; unusual letdowns, coats and stock are told."""
    path = demo / "shelf.toml"
    path.write_text(path.read_text().replace('label = "Dusk"', 'label = "Dusk"\nin_stock = false'))
    recipe = "41.5 marigold + 22 dusk + 6.5 ash, 7:1, 9 coats over silver"
    ran = run("check", recipe, "--shelf", demo, "--json")
    assert ran.document["recipe"]["recipe"] == recipe
    assert ran.document["recipe"]["blend"]["marigold"] == 41.5
    for words in ("dusk is not in stock", "7:1 is not a letdown", "2 to 6 coats"):
        assert words in ran.err


def test_another_light(learnt_demo: Path, run: Run) -> None:
    """A target under another light is met under that light, through the learnt spectra."""
    shelf = fewtone.load(learnt_demo)
    under_a = shelf.predict([RECIPE], light="A/10").lab[0]
    words = ("--target", ",".join(map(str, under_a)), "--light", "A/10", "--shelf", learnt_demo)
    document = run("check", RECIPE, *words, "--json").document
    assert document["recipe"]["de00"] == pytest.approx(0, abs=1e-3)
    assert document["target"]["illuminant"] == "A"
    document = run("check", RECIPE, "--light", "A/10", "--shelf", learnt_demo, "--json").document
    assert document["recipe"]["lab"] == pytest.approx(under_a.tolist(), abs=PRINTED)


def test_a_hex_target_has_its_caution(learnt_demo: Path, run: Run) -> None:
    """A hex colour is taken in D65/2, with a caution on standard error."""
    ran = run("match", "#7d3b24", "--shelf", learnt_demo, "--max-toners", "1", "--json")
    assert (ran.document["target"]["illuminant"], ran.document["target"]["observer"]) == ("D65", 2)
    assert "screen" in ran.err


def test_a_swatch_of_the_worked_deck(learnt_demo: Path, run: Run) -> None:
    """Every swatch of examples/swatches.csv can be asked for by its number."""
    deck = Path(__file__).parents[2] / "examples" / "swatches.csv"
    with deck.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) >= 10
    for row in rows:
        ran = run(
            *("check", RECIPE, "--target", row["number"], "--deck", deck),
            *("--shelf", learnt_demo, "--json"),
        )
        wanted = [float(row[key]) for key in "Lab"]
        assert ran.document["target"]["lab"] == wanted
        assert ran.document["target"]["request"] == row["number"]


def test_learn_reports_each_toner(demo: Path, run: Run) -> None:
    """The report under --json and on the screen; the curves are written."""
    (demo / "curves.csv").unlink()
    document = run("learn", "--shelf", demo, "--json").document
    assert len(document["toners"]) == 12
    for toner in document["toners"].values():
        assert toner["readings"] >= 8
        assert 0 <= toner["median_de00"] < 0.5
        assert toner["worst_panel"].startswith("P")
    assert (demo / "curves.csv").exists()
    assert "marigold" in run("learn", "--shelf", demo).out


def test_learn_says_what_to_spray_next(demo: Path, run: Run) -> None:
    """Recipe lines that other commands take, and how far off blends are with each of them."""
    document = run("learn", "--shelf", demo, "--json").document
    lines, off = document["spray_next"], document["spray_next_de00"]
    assert len(lines) == 5
    assert off == sorted(off, reverse=True)
    assert len(off) == 6
    # Films over every ground of the demo were read: no strip is asked for, and no reason given.
    for line, (coats,) in zip(lines, document["spray_next_coats"], strict=True):
        assert f", {coats} coat" in line
    assert document["spray_next_reasons"] == [None] * 5
    assert document["second_light"] is None
    assert (
        run("check", lines[0], "--shelf", demo, "--json").document["recipe"]["recipe"] == lines[0]
    )
    shown = run("learn", "--shelf", demo).out
    assert all(line in shown for line in lines)


def test_learn_asks_for_a_second_light(tmp_path: Path, run: Run) -> None:
    """Where Lab was read in one light alone, the screen names the columns of another."""
    folder = tmp_path / "lab"
    write_lab_only(folder)
    assert "L A/10, a A/10, b A/10" in run("learn", "--shelf", folder).out


def test_new_writes_a_folder_that_learns_once_filled_in(tmp_path: Path, run: Run) -> None:
    """The rows of `new`, filled in with Lab readings, are a shelf that learns and matches."""
    folder = tmp_path / "shelf"
    ran = run("new", folder, "--toners", "ruby,sky", "--json")
    assert ran.code == 0
    assert {Path(file).name for file in ran.document["written"]} == {
        *("shelf.toml", "readings.csv", "README.txt"),
    }
    lines = (folder / "readings.csv").read_text().splitlines()
    filled = [lines[0]]
    for line in lines[1:]:
        cells = line.split(",")
        coats = float(cells[4])
        bare = (85.0, 0.0, 1.0) if cells[1] == "white" else (72.0, 0.0, 0.5)
        pull = 1 - 2.718 ** (-0.45 * coats)
        lab = {"ruby": (-40, 55, 25), "sky": (-38, -15, -35)}.get(cells[2], (0, 0, 0))
        if cells[4] != "6":  # left out for want of time
            cells[7:10] = [f"{b + pull * d:.2f}" for b, d in zip(bare, lab, strict=True)]
        filled.append(",".join(cells))
    (folder / "readings.csv").write_text("\n".join(filled))
    assert run("learn", "--shelf", folder).code == 0
    assert run("match", "60,20,5", "--shelf", folder, "--tolerance", "40").code == 0


def test_new_refuses_to_overwrite(tmp_path: Path, run: Run) -> None:
    """A second time is a fault and touches nothing."""
    assert run("new", tmp_path / "demo", "--demo").code == 0
    before = (tmp_path / "demo" / "readings.csv").read_bytes()
    assert run("new", tmp_path / "demo", "--demo").code == 1
    assert run("new", tmp_path / "demo").code == 1
    assert (tmp_path / "demo" / "readings.csv").read_bytes() == before


def test_version_and_help(run: Run) -> None:
    """The version is the package's; no command at all shows the help."""
    assert run("--version").out == f"fewtone {fewtone.__version__}\n"
    assert "match" in run().out
    for command in ("new", "learn", "match", "check"):
        assert "Usage" in run(command, "--help").out


@pytest.mark.parametrize(
    "words", [("match", TARGET, "--max-toners", "1"), ("check", RECIPE), ("--version",)]
)
def test_nothing_heavy_is_imported(learnt_demo: Path, words: tuple[str, ...]) -> None:
    """On a learnt shelf neither scipy nor pandas nor colour-science is imported."""
    code = (
        "import sys\nfrom fewtone.cli import main\n"
        "try:\n    main(sys.argv[1:])\nexcept SystemExit:\n    pass\n"
        "print(sorted({m.split('.')[0] for m in sys.modules}), file=sys.stderr)"
    )
    shelf = ["--shelf", str(learnt_demo)] if len(words) > 1 else []
    done = subprocess.run(
        [sys.executable, "-c", code, *words, *shelf], capture_output=True, text=True, check=True
    )
    loaded = done.stderr.splitlines()[-1]
    assert "'fewtone'" in loaded
    for heavy in ("scipy", "pandas", "colour", "matplotlib", "jinja2"):
        assert f"'{heavy}'" not in loaded
    assert ("'numpy'" in loaded) is (len(words) > 1)


def test_several_versions_of_one_colour(learnt_demo: Path, run: Run) -> None:
    """How far they are apart, which the shelf reaches, and recipes by the worst of them."""
    versions = ["34,20,12", "35,21,12", "33,20,14"]
    also = [word for version in versions[1:] for word in ("--also", version)]
    asked = ("match", versions[0], *also, "--max-toners", 2, "--shelf", learnt_demo)
    document = run(*asked, "--json").document
    assert [version["target"]["request"] for version in document["versions"]] == versions
    for place, version in enumerate(document["versions"]):
        assert version["apart"][place] == 0.0
        alone = run("match", versions[place], *asked[len(also) + 2 :], "--json").document
        best = alone["picks"]["simplest"] or alone["picks"]["closest"]
        assert version["reached"] == (alone["picks"]["simplest"] is not None)
        if version["reached"]:
            assert version["best"] == best
    for recipe in document["recipes"]:
        each = recipe["each"]
        assert recipe["de00"] == max(aim["de00"] for aim in each)
        chances = [aim["pass_probability"] for aim in each]
        assert max(chances) <= recipe["pass_any"] + 0.01 <= min(1.0, sum(chances)) + 0.02
        checked = run(
            "check", recipe["recipe"], "--target", versions[1], "--shelf", learnt_demo, "--json"
        ).document["recipe"]
        assert each[1]["de00"] == checked["de00"]
        assert each[1]["pass_probability"] == checked["pass_probability"]
    screen = run(*asked).out
    assert "to the worst of them" in screen
    assert "Each version by itself:" in screen
    assert "for at least one of them" in screen


def test_a_pick_that_is_not_the_nearest_listed_says_so(learnt_demo: Path, run: Run) -> None:
    """What counts as closest, being simpler and within 0.05, is not called closer than it is."""
    formula = "41.5 marigold + 22 dusk + 6.5 ash, 6:1, 3 coats over silver"
    for tolerance in (0.3, 1, 2):
        asked = ("simplify", formula, "--every-ground", "--tolerance", tolerance, "--shelf")
        document = run(*asked, learnt_demo, "--json").document
        closest = document["picks"]["closest"]["de00"]
        nearer = any(recipe["de00"] < closest for recipe in document["recipes"])
        assert ("to within 0.05" in run(*asked, learnt_demo).out) == nearer
