"""Matching starts quickly."""

from __future__ import annotations

import subprocess
import sys


def test_matching_loads_none_of_the_heavy_libraries() -> None:
    """The search runs without scipy, colour-science and pandas, which take long to load."""
    code = (
        "import sys, fewtone.match, fewtone.match.search\n"
        "heavy = {'scipy', 'colour', 'pandas'} & {name.split('.')[0] for name in sys.modules}\n"
        "sys.exit(', '.join(sorted(heavy)) or 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
