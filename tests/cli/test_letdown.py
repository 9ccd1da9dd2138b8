"""`fewtone letdown` as a user types it."""

from __future__ import annotations

from pathlib import Path

import pytest

from cli.conftest import Run
from lamp_shelf import write_lamp_shelf

RECIPE = "2 marigold + 1 dusk, 6:1, 4 coats over silver"
ESCAPE = "\x1b["


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A learnt lamp bench."""
    return str(write_lamp_shelf(tmp_path_factory.mktemp("letdown") / "lamp-bench"))


def test_json_lists_every_coat_over_every_ground(shelf: str, run: Run) -> None:
    """The document of the interface: steps with ground, coats, lab, de00."""
    ran = run("letdown", RECIPE, "--target", "34,-7,27", "--shelf", shelf, "--json")
    document = ran.document
    assert ran.code == 0
    assert len(document["steps"]) == 4 * 7
    assert set(document["steps"][0]) >= {"ground", "coats", "lab", "de00"}
    silver = [step for step in document["steps"] if step["ground"] == "silver"]
    nearest = min(silver, key=lambda step: step["de00"])
    assert document["grounds"]["silver"]["nearest_coats"] == nearest["coats"]


def test_a_pipe_gets_numbers_only(shelf: str, run: Run) -> None:
    """Without a terminal there is no colour, and the marks are words."""
    ran = run("letdown", RECIPE, "--target", "34,-7,27", "--shelf", shelf)
    assert ESCAPE not in ran.out
    for words in ("Over silver", "nearest", "overshoots from here", "Nearest of all"):
        assert words in ran.out


def test_a_terminal_with_colour_gets_swatches(
    shelf: str, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each step is a block in its own colour; NO_COLOR takes them away again."""
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("COLORTERM", "truecolor")
    monkeypatch.delenv("NO_COLOR", raising=False)
    words = ("letdown", RECIPE, "--ground", "silver", "--shelf", shelf)
    assert run(*words).out.count(f"{ESCAPE}48;2;") == 7
    monkeypatch.setenv("NO_COLOR", "1")
    assert f"{ESCAPE}48;2;" not in run(*words).out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--ground", "sliver"), "Did you mean 'silver'"),
        (("--coats", "99"), "1 to 50 coats"),
        (("--target", "green"), "is not a target"),
        (("--light", "D66/10"), "D66"),
    ],
)
def test_bad_input_is_told(shelf: str, run: Run, words: tuple[str, ...], said: str) -> None:
    """What cannot be used is named, in words and in JSON alike."""
    ran = run("letdown", RECIPE, *words, "--shelf", shelf, "--json")
    assert ran.code == 2
    assert said in ran.document["errors"][0]["message"]


def test_each_step_says_how_likely_it_passes(demo: Path, run: Run) -> None:
    """The chance is that of `check` at so many coats over that ground, at the same tolerance."""
    about = ("--target", "34,59,12", "--tolerance", "2", "--shelf", demo, "--json")
    steps = run("letdown", "2 peony + 1 poppy, 8:1, 6 coats over silver", *about).document["steps"]
    assert all((step["pass_probability"] is None) == (step["coats"] == 0) for step in steps)
    likely = [step for step in steps if (step["pass_probability"] or 0) > 0.05]
    assert len(likely) >= 2
    for step in likely:
        line = f"2 peony + 1 poppy, 8:1, {step['coats']} coats over {step['ground']}"
        checked = run("check", line, *about).document["recipe"]
        assert step["pass_probability"] == checked["pass_probability"]
        assert step["de00"] == pytest.approx(checked["de00"], abs=1e-4)  # printed to four decimals
