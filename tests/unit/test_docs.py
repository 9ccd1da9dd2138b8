"""The examples in docstrings run, and every public name has its place on the API pages."""

from __future__ import annotations

import ast
import doctest
import importlib
import inspect
import re
from pathlib import Path

import pytest

import fewtone
from api_pages import MODULES, is_api, make_pages

SOURCE = Path(fewtone.__file__).parent


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_docstrings_run(name: str) -> None:
    """What a docstring shows is what happens."""
    assert doctest.testmod(importlib.import_module(name)).failed == 0


@pytest.mark.parametrize("name", MODULES)
def test_public_names_say_what_they_are(name: str) -> None:
    """Each has a docstring."""
    module = importlib.import_module(name)
    for public in getattr(module, "__all__", ()):
        value = getattr(module, public)
        if not (inspect.isfunction(value) or inspect.isclass(value)):
            continue
        assert inspect.getdoc(value), f"{name}.{public} has no docstring"


@pytest.mark.trial
def test_api_pages_hold_every_public_name(tmp_path: Path) -> None:
    """`python tests/api_pages.py FOLDER` makes a page of each module, from docstrings alone."""
    make_pages(tmp_path, source=False)
    for name in filter(is_api, MODULES):
        page = tmp_path / f"{name.replace('.', '/')}.html"
        text = page.read_text(encoding="utf-8")
        for public in getattr(importlib.import_module(name), "__all__", ()):
            if not public.startswith("_"):
                assert f'id="{public}"' in text, f"{name}.{public}"


HOUSE = {
    node.name
    for path in SOURCE.rglob("*.py")
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    if isinstance(node, ast.ClassDef)
}
# With these around them, classes of the house still say themselves what they are.
AROUND = {"None", "Sequence", "Iterable", "Mapping", "tuple", "list", "dict", "Unpack"}
ARRAY = re.compile(r"(Float|Int|Bool)(Array|Like)\b")
SHAPE = re.compile(r"shape|``\(|any scalar")
SECTION = re.compile(r"^(Parameters|Returns|Yields|Raises|Notes|Examples)\n-+\n", re.M)


def public_functions() -> list[tuple[str, ast.FunctionDef, bool]]:
    """Public functions and methods for callers: their name, the function, and whether a method."""
    functions = []
    for path in sorted(SOURCE.rglob("*.py")):
        module = ".".join(path.relative_to(SOURCE).with_suffix("").parts)
        if {"board", "data"} & {*path.relative_to(SOURCE).parts} or not is_api(f"fewtone.{module}"):
            continue
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            inner = node.body if isinstance(node, ast.ClassDef) else [node]
            if isinstance(node, ast.ClassDef) and node.name.startswith("_"):
                continue
            functions += [
                (f"{module}.{item.name}", item, isinstance(node, ast.ClassDef))
                for item in inner
                if isinstance(item, ast.FunctionDef) and not item.name.startswith("_")
            ]
    return functions


def public_fields() -> list[tuple[str, str, tuple[str, ...]]]:
    """Public classes with fields: their name, their docstring, and the fields."""
    classes = []
    for path in sorted(SOURCE.rglob("*.py")):
        if {"board", "cli", "data"} & {*path.relative_to(SOURCE).parts}:
            continue
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                fields = tuple(
                    item.target.id
                    for item in node.body
                    if isinstance(item, ast.AnnAssign)
                    and isinstance(item.target, ast.Name)
                    and not item.target.id.startswith("_")
                    and not ast.unparse(item.annotation).startswith("ClassVar")
                )
                name = f"{'.'.join(path.relative_to(SOURCE).with_suffix('').parts)}.{node.name}"
                classes.append((name, ast.get_docstring(node) or "", fields))
    return [each for each in classes if each[2]]


FIELDS = public_fields()
FUNCTIONS = public_functions()
PARAMETERS: dict[str, set[str]] = {}
for known in (function for _, function, _is_method in FUNCTIONS):
    given = (*known.args.posonlyargs, *known.args.args, *known.args.kwonlyargs)
    PARAMETERS.setdefault(known.name, set()).update(arg.arg for arg in given)


def entries(doc: str) -> dict[str, str]:
    """What the section on parameters says of each."""
    parts = SECTION.split(doc)
    section = parts[parts.index("Parameters") + 1] if "Parameters" in parts else ""
    texts: dict[str, str] = {}
    named: list[str] = []
    for line in section.splitlines():
        if line and not line[0].isspace():
            named = [name.strip().lstrip("*") for name in line.split(",")]
        for name in named:
            texts[name] = f"{texts.get(name, '')}{line}\n"
    return texts


def is_of_the_house(argument: ast.arg) -> bool:
    """Whether its type is a class of the house, which says itself what it is."""
    if argument.annotation is None:
        return False
    names = {n.id for n in ast.walk(argument.annotation) if isinstance(n, ast.Name)}
    return bool(names & HOUSE) and names <= HOUSE | AROUND


@pytest.mark.parametrize(
    ("name", "function", "is_method"), FUNCTIONS, ids=[name for name, _, _ in FUNCTIONS]
)
def test_public_functions_name_their_parameters(
    name: str, function: ast.FunctionDef, is_method: bool
) -> None:
    """Each parameter is named, arrays with their shape, and what is raised is told.

    A parameter whose type is a class of the house may go without, and so may what another function
    that the docstring refers to describes.
    """
    doc = ast.get_docstring(function) or ""
    arguments = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
    is_static = any(ast.unparse(each) == "staticmethod" for each in function.decorator_list)
    arguments = arguments[1:] if is_method and not is_static else arguments
    described = entries(doc)
    referred = {
        parameter
        for other in re.findall(r"`([\w.]+)`", doc)
        if other != function.name
        for parameter in PARAMETERS.get(other.split(".")[-1], ())
    }
    for argument in arguments:
        text: str | None = described.get(argument.arg)
        if text is None and re.search(rf"`[^`]*\b{argument.arg}\b[^`]*`", doc):
            text = doc
        if text is None:
            assert argument.arg in referred or is_of_the_house(argument), (
                f"{name}: say what `{argument.arg}` is, with its unit"
            )
        elif argument.annotation and ARRAY.match(ast.unparse(argument.annotation)):
            assert SHAPE.search(text) or "broadcast" in text or argument.arg in referred, (
                f"{name}: say of which shape `{argument.arg}` is"
            )
    if function.returns and ARRAY.search(ast.unparse(function.returns)):
        assert SHAPE.search(doc) or referred, f"{name}: say of which shape the answer is"
    raised = [n for n in ast.walk(function) if isinstance(n, ast.Raise) and n.exc is not None]
    assert not raised or "Raises\n---" in doc, f"{name}: say what it raises"


@pytest.mark.parametrize(("name", "doc", "fields"), FIELDS, ids=[name for name, _, _ in FIELDS])
def test_public_classes_name_their_fields(name: str, doc: str, fields: tuple[str, ...]) -> None:
    """Each field of a record or of options is named where the class says what it is."""
    for field in fields:
        assert re.search(rf"(?<!\w){field}(?!\w)", doc), f"{name}: say what `{field}` is"
