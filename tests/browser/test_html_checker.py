"""The page before the checker that defines what valid HTML is."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

import fewtone
from browser.conftest import needed

# From npm, see .ci/run; the Nu checker of the W3C as one Java archive.
JAR = Path(__file__).parents[2] / ".ci" / "node_modules" / "vnu-jar" / "build" / "dist" / "vnu.jar"


@pytest.mark.parametrize("target", ["36,-8,28", "#ff0000", None])
def test_it_is_valid_html(target: str | None, lamp_shelf: Path, tmp_path: Path) -> None:
    """The Nu HTML checker has neither an error nor a warning, nor for the page's CSS."""
    needed(JAR.is_file() and shutil.which("java") is not None, "the Nu HTML checker (or java)")
    file = tmp_path / "page.html"
    line = "2 marigold + 1 dusk, 6:1, 4 coats over silver"
    page = fewtone.load(lamp_shelf).sheet(line, target=target, volume="600ml")
    file.write_text(page.html(), encoding="utf-8")
    done = subprocess.run(
        ["java", "-jar", str(JAR), str(file)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
