"""The examples in docstrings run, and every public name has its place on the API pages."""

from __future__ import annotations

import doctest
import importlib
import inspect
from pathlib import Path

import pytest

from api_pages import MODULES, is_api, make_pages


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


def test_api_pages_hold_every_public_name(tmp_path: Path) -> None:
    """`python tests/api_pages.py FOLDER` makes a page of each module, from docstrings alone."""
    make_pages(tmp_path)
    for name in filter(is_api, MODULES):
        page = tmp_path / f"{name.replace('.', '/')}.html"
        text = page.read_text(encoding="utf-8")
        for public in getattr(importlib.import_module(name), "__all__", ()):
            if not public.startswith("_"):
                assert f'id="{public}"' in text, f"{name}.{public}"
