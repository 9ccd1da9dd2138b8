"""What `fewtone check` tells of how a colour holds."""

from __future__ import annotations

from pathlib import Path

import pytest

from cli.conftest import Run
from lamp_shelf import write_lamp_shelf

RECIPE = "2 marigold + 1 dusk, 6:1, 4 coats over silver"


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A learnt lamp bench."""
    return write_lamp_shelf(tmp_path_factory.mktemp("check") / "lamp-bench")


def test_check_tells_how_the_colour_holds(shelf: Path, run: Run) -> None:
    """Other light, other grounds, a coat or a tenth of the film more and less; also in JSON."""
    words = ("check", RECIPE, "--target", "34,-8,27", "--shelf", shelf)
    ran = run(*words)
    for said in (
        "moves by ΔE00",
        "LED-B3/10",
        "over the other grounds",
        "one coat more",
        "10 % heavy",
    ):
        assert said in ran.out
    document = run(*words, "--json").document
    assert [seen["illuminant"] for seen in document["lights"]] == ["D65", "A", "F11", "LED-B3"]
    assert {change["ground"] for change in document["grounds"]} == {"white", "brass", "graphite"}
    assert all(change["de00"] is not None for change in document["what_if"])
