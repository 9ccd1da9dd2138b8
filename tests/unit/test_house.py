"""The shape of the house: imports run one way, and the public face is what it is."""

from __future__ import annotations

import ast
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

import fewtone

SOURCE = Path(fewtone.__file__).parent

# From the ground up: a room may import rooms that stand before it, and nothing that stands after.
FLOORS = (
    "version",
    "typing",
    "errors",
    "spectra",
    "colorimetry",
    "optics",
    "model",
    "io",
    "prediction",
    "learning",
    "match",
    "workshop",
    "report",
    "shelf",
    "api",
    "cli",
)


def imports(path: Path) -> set[str]:
    """The rooms that a file imports, at its top or inside a function; types alone do not count."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    only_types = {
        inner
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    found = set()
    for node in ast.walk(tree):
        if node in only_types:
            continue
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("fewtone."):
            found.add((node.module or "").split(".")[1])
        elif isinstance(node, ast.Import):
            found |= {a.name.split(".")[1] for a in node.names if a.name.startswith("fewtone.")}
    return found


@pytest.mark.parametrize(
    "path", sorted(SOURCE.rglob("*.py")), ids=lambda path: str(path.relative_to(SOURCE))
)
def test_imports_run_one_way(path: Path) -> None:
    """No room imports one that stands after it."""
    room = path.relative_to(SOURCE).parts[0].removesuffix(".py")
    if room in ("__init__", "data"):
        return
    assert room in FLOORS, f"{room} has no floor yet"
    above = {name for name in imports(path) if FLOORS.index(name) > FLOORS.index(room)}
    assert not above


def test_the_public_face_is_locked() -> None:
    """What `import fewtone` offers is what users script against."""
    assert fewtone.__all__ == [
        "Fault",
        "FewtoneError",
        "Light",
        "Recipe",
        "Shelf",
        "Target",
        "UsageError",
        "__version__",
        "learn",
        "load",
        "new",
        "parse",
        "take",
    ]
    for name in fewtone.__all__:
        assert getattr(fewtone, name) is not None
    with pytest.raises(AttributeError):
        _ = fewtone.nothing


def test_public_functions_are_not_hidden_by_rooms() -> None:
    """No room has the name of a public function, which importing it would hide."""
    for name in ("load", "learn", "new", "parse", "take"):
        with pytest.raises(ModuleNotFoundError):
            importlib.import_module(f"fewtone.{name}")


@pytest.mark.parametrize("path", sorted(SOURCE.rglob("*.py")), ids=lambda path: path.stem)
def test_rooms_stay_small(path: Path) -> None:
    """A file that grows past 400 lines is two rooms."""
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


def test_import_is_quick() -> None:
    """`import fewtone` brings in neither numpy nor anything else heavy."""
    heavy = ("numpy", "scipy", "rich", "typer")
    code = f"import sys, fewtone; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
