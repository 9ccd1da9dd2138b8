"""The worked job runs as a user would run it, and its answer holds in the booth it came from."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import numpy as np

import fewtone
from booth import Booth, delta_e, lamp_grounds, lamp_toners

EXAMPLES = Path(__file__).parents[2] / "examples"


def test_the_worked_job_runs(tmp_path: Path) -> None:
    """The script ends well, and the recipe it finds truly gives the swatch's colour."""
    done = subprocess.run(
        [sys.executable, str(EXAMPLES / "worked_job.py")],
        capture_output=True,
        text=True,
        check=True,
        cwd=tmp_path,
    )
    assert "asked for Beet soup" in done.stdout
    line = re.search(r"^simplest: (.+)$", done.stdout, re.MULTILINE)
    assert line
    recipe = fewtone.parse(line[1])
    assert len(recipe.blend) <= 2
    booth = Booth(lamp_toners(), lamp_grounds(), np.random.default_rng(0))
    parts = {name: int(part) for name, part in recipe.blend.items()}
    true = booth.true_lab(booth.fractions(parts), float(recipe.load), recipe.ground)
    # The tolerance of the shelf is 1.0; the curves may err by a few tenths on top.
    assert delta_e(true, np.array([34.1, 59.3, 12.5])) < 1.4
    assert list(tmp_path.iterdir()) == []
