"""Panels that do not fit, from the command line."""

from __future__ import annotations

from pathlib import Path

from cli.conftest import Run

# As sprayed, and as somebody might have noted it.
SPRAYED, NOTED = "P030,white,2 poppy + 1 ember,6,3,", "P030,white,2 poppy + 1 dusk,6,3,"


def plant(demo: Path) -> None:
    """Note one panel of the demo shelf under the name of another toner."""
    file = demo / "readings.csv"
    text = file.read_text(encoding="utf-8")
    assert SPRAYED in text
    file.write_text(text.replace(SPRAYED, NOTED), encoding="utf-8")


def test_a_bad_panel_is_named_with_what_explains_it(demo: Path, run: Run) -> None:
    """The suspect stands in the document and on the screen, with the command that leaves it out."""
    plant(demo)
    document = run("learn", "--shelf", demo, "--json").document
    assert [suspect["panel"] for suspect in document["suspects"]] == ["P030"]
    suspect = document["suspects"][0]
    assert suspect["explanation"] == "P030 reads like 2 poppy + 1 ember, not 2 poppy + 1 dusk."
    assert suspect["left_out_de00"] > 1.0
    assert document["panels"] == 37
    shown = run("learn", "--shelf", demo).out
    assert suspect["explanation"] in shown
    assert "fewtone learn --leave-out P030" in shown


def test_a_suspect_can_be_left_out(demo: Path, run: Run) -> None:
    """Without it nothing is suspect, and the answer says what was left out."""
    plant(demo)
    words = ("learn", "--shelf", demo, "--leave-out", "P030")
    document = run(*words, "--json").document
    assert document["suspects"] == []
    assert document["left_out"] == ["P030"]
    assert document["panels"] == 36
    assert "Left out: P030." in run(*words).out


def test_the_demo_shelf_has_no_suspects(demo: Path, run: Run) -> None:
    """Nothing is planted in the demo, and nothing is found; each toner says how sure it is."""
    document = run("learn", "--shelf", demo, "--json").document
    assert document["suspects"] == []
    for toner in document["toners"].values():
        assert toner["left_out_de00"] > toner["median_de00"]
        assert 0.5 < toner["data_share"] < 1.0
        assert toner["scatters"] is False
