"""`fewtone learn --picture` as a user types it."""

from __future__ import annotations

from pathlib import Path

import pytest

from cli.conftest import Run
from lamp_shelf import write_lamp_shelf


@pytest.mark.parametrize(("name", "starts"), [("a.svg", b"<?xml"), ("a.PNG", b"\x89PNG")])
def test_a_picture_of_what_was_learnt(name: str, starts: bytes, demo: Path, run: Run) -> None:
    """The file is drawn as its name says, beside the report as ever."""
    file = demo / name
    ran = run("learn", "--shelf", demo, "--picture", file, "--json")
    assert ran.code == 0
    assert set(ran.document["toners"]) > {"marigold", "dusk"}
    assert file.read_bytes().startswith(starts)


@pytest.mark.parametrize(("name", "said"), [("a.gif", ".svg and .png"), ("a.svg", "--force")])
def test_a_wrong_name_is_told_before_anything_is_learnt(
    name: str, said: str, run: Run, tmp_path: Path
) -> None:
    """A name that cannot be, or that something has already, leaves everything as it was."""
    folder = write_lamp_shelf(tmp_path / "lamp")
    (tmp_path / "a.svg").write_text("mine")
    curves = (folder / "curves.csv").read_bytes()
    ran = run("learn", "--shelf", folder, "--picture", tmp_path / name)
    assert ran.code == 2
    assert said in ran.err
    assert (tmp_path / "a.svg").read_text() == "mine"
    assert (folder / "curves.csv").read_bytes() == curves
