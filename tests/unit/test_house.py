"""The shape of the house: imports run one way, and the public face is what it is."""

from __future__ import annotations

import ast
import importlib
import subprocess
import sys
import tomllib
from importlib.metadata import version
from pathlib import Path

import pytest

import fewtone

SOURCE = Path(fewtone.__file__).parent

# From the ground up: a room may import rooms that stand before it, and nothing that stands after.
FLOORS = (
    "version",
    "typing",
    "errors",
    "tables",
    "spectra",
    "colorimetry",
    "optics",
    "model",
    "io",
    "prediction",
    "learning",
    "recipes",
    "search",
    "match",
    "workshop",
    "jobs",
    "decks",
    "report",
    "shelf",
    "api",
    "board",
    "cli",
    "__main__",
)


MODULES = {
    ".".join(("fewtone", *path.relative_to(SOURCE).with_suffix("").parts)).removesuffix(
        ".__init__"
    ): (path)
    for path in sorted(SOURCE.rglob("*.py"))
}


def imports(path: Path, *, types: bool = False) -> set[str]:
    """The modules of fewtone that a file imports, at its top or inside a function.

    Every form counts: ``import fewtone.x``, ``from fewtone import x``, ``from fewtone.x import y``
    where y may be a module, and relative ones. What only types need counts if `types` is true.
    """
    tree = ast.parse(path.read_text(encoding="utf-8"))
    only_types = {
        inner
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    here = ["fewtone", *path.relative_to(SOURCE).parent.parts]
    named = set()
    for node in ast.walk(tree):
        if node in only_types and not types:
            continue
        if isinstance(node, ast.Import):
            named |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            above = here[: len(here) + 1 - node.level] if node.level else []
            base = ".".join([*above, *([node.module] if node.module else [])])
            # A name may be a module of that package, or what the package offers.
            named |= {
                f"{base}.{alias.name}" if f"{base}.{alias.name}" in MODULES else base
                for alias in node.names
            }
    return {name for name in named if name.split(".")[0] == "fewtone"}


def room(module: str) -> str:
    """The room that a module belongs to; the package itself stands above them all."""
    return module.split(".")[1] if "." in module else "__init__"


def test_every_form_of_import_is_seen(tmp_path: Path) -> None:
    """What the other tests of the house rest on."""
    for line, wanted in (
        ("import fewtone.optics.film", "fewtone.optics.film"),
        ("import fewtone.optics.film as film", "fewtone.optics.film"),
        ("from fewtone import optics", "fewtone.optics"),
        ("from fewtone import __version__", "fewtone"),
        ("from fewtone.optics import film", "fewtone.optics.film"),
        ("from fewtone.optics.film import FilmOptics", "fewtone.optics.film"),
        ("def f():\n    from fewtone import api", "fewtone.api"),
    ):
        file = tmp_path / "file.py"
        file.write_text(line)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(sys.modules[__name__], "SOURCE", tmp_path)
            assert imports(file) == {wanted}
    relative = SOURCE / "optics" / "flake.py"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Path, "read_text", lambda *_, **__: "from . import film\nfrom .. import api")
        assert imports(relative) == {"fewtone.optics.film", "fewtone.api"}


@pytest.mark.parametrize(
    "path", sorted(SOURCE.rglob("*.py")), ids=lambda path: str(path.relative_to(SOURCE))
)
def test_imports_run_one_way(path: Path) -> None:
    """No room imports one that stands after it, nor the package above them all."""
    own = path.relative_to(SOURCE).parts[0].removesuffix(".py")
    if own in ("__init__", "data"):
        return
    assert own in FLOORS, f"{own} has no floor yet"
    order = {name: place for place, name in enumerate((*FLOORS, "__init__"))}
    assert not {name for name in imports(path) if order[room(name)] > order[own]}


def test_no_modules_import_each_other_in_a_circle() -> None:
    """Not even inside a room, nor inside functions, nor for types alone.

    A package's ``__init__`` hands its modules on: what imports the package means those.
    """
    edges = {name: imports(path, types=True) - {name} for name, path in MODULES.items()}
    packages = {name for name, path in MODULES.items() if path.name == "__init__.py"}
    open_names: list[str] = []
    done: set[str] = set()

    def visit(name: str) -> None:
        assert name not in open_names, " -> ".join([*open_names[open_names.index(name) :], name])
        if name in done:
            return
        open_names.append(name)
        for other in sorted(edges[name] - packages):
            visit(other)
        open_names.pop()
        done.add(name)

    for name in MODULES:
        visit(name)


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
    """A file that grows past 400 lines, docstrings of its functions aside, is two rooms."""
    text = path.read_text(encoding="utf-8")
    told = sum(
        node.body[0].end_lineno - node.body[0].lineno + 1
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.FunctionDef | ast.ClassDef)
        and ast.get_docstring(node)
        and node.body[0].end_lineno
    )
    assert len(text.splitlines()) - told <= 400


def test_the_version_has_one_source() -> None:
    """The build reads it where the package does."""
    root = Path(__file__).parents[2]
    build = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))
    assert build["project"]["dynamic"] == ["version"]
    assert build["tool"]["hatch"]["version"]["path"] == "src/fewtone/version.py"
    assert version("fewtone") == fewtone.__version__


def test_import_is_quick() -> None:
    """`import fewtone` brings in neither numpy nor anything else heavy."""
    heavy = ("numpy", "scipy", "rich", "typer")
    code = f"import sys, fewtone; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("path", sorted(SOURCE.rglob("*.py")), ids=lambda path: path.stem)
def test_nothing_leaves_the_machine(path: Path) -> None:
    """No module imports what opens a connection."""
    outwards = {"ssl", "http.client", "urllib.request", "ftplib", "smtplib", "requests", "httpx"}
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found |= {f"{node.module}.{alias.name}" for alias in node.names} | {node.module or ""}
    assert not found & outwards


# What was looked at before it is read again: curves, a job book, a deck's rows; and our own files.
_READ_FILES = ("shelf.py", "jobs/book.py", "decks/deck.py", "io/starter.py", "board/app.py")


@pytest.mark.parametrize("path", sorted(SOURCE.rglob("*.py")), ids=lambda path: path.stem)
def test_files_are_read_through_the_gate_alone(path: Path) -> None:
    """A user's file is read by `io/files.py`; and where links lead never raises `RuntimeError`."""
    if path.relative_to(SOURCE).as_posix() in _READ_FILES:
        return
    tree = ast.parse(path.read_text(encoding="utf-8"))
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
    for call in calls:
        name = call.func.attr if isinstance(call.func, ast.Attribute) else ""
        to_read = name in ("read_bytes", "read_text") or (
            name == "open" and bool(call.args) and ast.unparse(call.args[0]) in ("'r'", "'rb'")
        )
        assert not to_read, f"line {call.lineno} reads a file"
        leads = name == "resolve" and not call.args and not call.keywords
        assert not leads, f"line {call.lineno} follows links, which may lead in a circle"
