"""What is tried in environments of its own: ``nox -f tests/noxfile.py -s NAME``.

``versions``
    The unit tests on each Python with the newest versions of the dependencies, and on those for
    which the oldest ones were built with these.
``installed``
    Wheel and sdist, each installed elsewhere, with the demo shelf learnt and matched from there.
``mutation``
    Optics, prediction, match, pours, posterior and readings under mutation testing
    (`tests/mutation.py`).
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import nox

ROOT = Path(__file__).resolve().parents[1]
# The oldest numpy and scipy that are allowed have no build for Python 3.13.
VERSIONS = (
    ("3.11", "oldest"),
    ("3.12", "oldest"),
    ("3.11", "newest"),
    ("3.12", "newest"),
    ("3.13", "newest"),
)
SCENARIO = (
    ("new", "shelf", "--demo"),
    ("learn", "--shelf", "shelf"),
    ("match", "38.2,-18.4,9.7", "--shelf", "shelf", "--tolerance", "20"),
    ("check", "2 marigold + 1 dusk, 6:1, 4 coats over silver", "--shelf", "shelf"),
)
nox.options.sessions = ["installed"]
nox.options.default_venv_backend = "uv|virtualenv"


@nox.session
@nox.parametrize("python,age", VERSIONS)
def versions(session: nox.Session, age: str) -> None:
    """Run the unit tests with the oldest or the newest versions of the dependencies."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    wanted = [
        *project["dependencies"],
        *(line for name in ("board", "cxf", "pictures") for line in extras[name]),
    ]
    if age == "oldest":
        wanted = [re.sub(r">=([\d.]+)", r"==\1.*", line) for line in wanted]
    session.chdir(ROOT)
    session.install(*wanted, "pytest", "pytest-xdist", "hypothesis", "colour-science")
    session.install("--no-deps", ".")
    session.run("python", "-m", "pytest", "tests/unit", "-W", "default", *session.posargs)


@nox.session
@nox.parametrize("kind", ["wheel", "sdist"])
def installed(session: nox.Session, kind: str) -> None:
    """Build, install elsewhere, and run the demo from there."""
    out = Path(session.create_tmp()).resolve()
    session.chdir(ROOT)
    session.install("build")
    session.run("python", "-m", "build", f"--{kind}", "--outdir", str(out))
    built = max(
        out.glob("*.whl" if kind == "wheel" else "*.tar.gz"), key=lambda f: f.stat().st_mtime
    )
    session.install("--force-reinstall", str(built))
    session.chdir(out)
    session.run("python", "-c", "import shutil; shutil.rmtree('shelf', ignore_errors=True)")
    for words in SCENARIO:
        session.run("fewtone", *words, silent=True, success_codes=[0, 3])


@nox.session
def mutation(session: nox.Session) -> None:
    """Change the source in small ways and see the tests notice; mutants that live are listed."""
    session.chdir(ROOT)
    session.install("-e", ".[dev]", "cosmic-ray>=8.4", "coverage>=7.6")
    session.run("python", "tests/mutation.py", *session.posargs)
