"""Times whole processes of the commands against `python -c "import numpy"` of the same run.

    python tests/benchmarks/bench_start.py

The common job is the demo shelf, learnt: 12 toners, 4 grounds, up to 3 toners in a recipe, parts up
to 4, letdowns 6, 8, 5 and 4, 1 to 6 coats. Every round runs each process once, one after the other,
so that whatever else the machine does meets them all alike; medians over the rounds of the
processor's time, user and system, which other programs stretch less than the clock's. Byte code is
kept in a folder of its own, as an installation has it, and a first round that does not count writes
it.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

import fewtone

_ROUNDS = 11
# What the installed command runs.
_ENTRY = "import sys; from fewtone.cli import main; sys.exit(main())"
_TARGET, _RECIPE = "38,30,28", "2 marigold + 1 dusk, 6:1, 4 coats over silver"
# Times of `import numpy` that each may take.
_LIMITS = {"--version": 1.4, "--help": 3.0, "check": 4.5, "match": 5.5}


def main() -> None:
    """Time the processes and print medians, ratios and what is allowed."""
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    with tempfile.TemporaryDirectory() as folder:
        environment["PYTHONPYCACHEPREFIX"] = str(Path(folder) / "bytecode")
        shelf = Path(folder) / "lamp-bench"
        fewtone.new(shelf, demo=True)
        fewtone.learn(shelf)
        command = [sys.executable, "-c", _ENTRY]
        processes = {
            "import numpy": [sys.executable, "-c", "import numpy"],
            "--version": [*command, "--version"],
            "--help": [*command, "--help"],
            "check": [*command, "check", _RECIPE, "--target", _TARGET, "--shelf", str(shelf)],
            "match": [*command, "match", _TARGET, "--coats", "1-6", "--shelf", str(shelf)],
        }
        seconds: dict[str, list[float]] = {name: [] for name in processes}
        for turn in range(_ROUNDS + 1):
            for name, words in processes.items():
                taken = _processor_seconds(words, environment)
                if turn:
                    seconds[name].append(taken)
    median = {name: statistics.median(times) for name, times in seconds.items()}
    for name, taken in median.items():
        limit = f"  (at most {_LIMITS[name]:g})" if name in _LIMITS else ""
        print(f"{name:14} {taken:7.3f} s  {taken / median['import numpy']:5.2f} x{limit}")


def _processor_seconds(words: list[str], environment: dict[str, str]) -> float:
    """User and system time of a process that must succeed [s]."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(words, env=environment, capture_output=True, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


if __name__ == "__main__":
    main()
