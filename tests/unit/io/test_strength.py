"""Writing a bottle's strength: one number changes, every other byte stays."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from fewtone.errors import FewtoneError
from fewtone.io.atomic import LOCK_FILE
from fewtone.io.settings import load_settings
from fewtone.io.strength import write_strength

STRENGTH = Decimal("1.083")
GROUND = '[grounds.white]\nkind = "solid"\n'
SHELF = (
    '# Märigold and dusk\n[toners.marigold]\nlabel = "Märigold"   # amber\n\n'
    "# the violet one\n[toners.dusk]\ndensity = 1.02\n\n" + GROUND
)


def written(folder: Path, content: bytes, toner: str = "marigold") -> bytes:
    """The file after the strength was written into it, which it then says."""
    (folder / "shelf.toml").write_bytes(content)
    assert write_strength(folder, toner, STRENGTH)
    assert load_settings(folder).toners[toner].strength == STRENGTH
    return (folder / "shelf.toml").read_bytes()


def test_a_line_is_added_to_the_toner_table(tmp_path: Path) -> None:
    """Below its last key, above the notes of the next table."""
    after = written(tmp_path, SHELF.encode())
    line = "   # amber\n"
    assert after == SHELF.replace(line, f"{line}strength = 1.083\n").encode()


def test_a_line_that_is_there_is_changed(tmp_path: Path) -> None:
    """Spaces and the note behind it stay."""
    before = SHELF.replace("density = 1.02", "  strength =  0.95 # March's bottle\ndensity = 1.02")
    after = written(tmp_path, before.encode(), "dusk")
    assert after == before.replace("0.95", "1.083").encode()


def test_what_says_so_already_is_left_alone(tmp_path: Path) -> None:
    """Writing twice is writing once."""
    once = written(tmp_path, SHELF.encode())
    assert not write_strength(tmp_path, "marigold", STRENGTH)
    assert (tmp_path / "shelf.toml").read_bytes() == once


@pytest.mark.parametrize(
    ("title", "mark", "ending"),
    [
        ("[toners.marigold]", b"", "\r\n"),
        ("[toners.marigold]", b"\xef\xbb\xbf", "\n"),
        (" [ toners . 'marigold' ]  # amber", b"", "\n"),
        ('["toners"."marigold"]', b"\xef\xbb\xbf", "\r\n"),
    ],
)
def test_marks_line_ends_and_spellings_stay(
    tmp_path: Path, title: str, mark: bytes, ending: str
) -> None:
    """A byte-order mark, Windows line ends and quoted names are as they were."""
    text = SHELF.replace("[toners.marigold]", title).replace("\n", ending)
    after = written(tmp_path, mark + text.encode())
    line = f"   # amber{ending}"
    wanted = text.replace(line, f"{line}strength = 1.083{ending}")
    assert after == mark + wanted.encode()


def test_a_table_at_the_end_without_a_line_end(tmp_path: Path) -> None:
    """The new line does not run into the last one."""
    before = GROUND + '[toners.marigold]\nlabel = "Amber"'
    after = written(tmp_path, before.encode())
    assert after == (before + "\nstrength = 1.083\n").encode()


def test_a_title_inside_a_text_is_no_title(tmp_path: Path) -> None:
    """Only an edit that reads back as the one number is taken."""
    before = f'name = """\n[toners.marigold]\nstrength = 2\n"""\n{SHELF}'
    after = written(tmp_path, before.encode())
    line = "   # amber\n"
    assert after == before.replace(line, f"{line}strength = 1.083\n").encode()


@pytest.mark.parametrize(
    "toners", ["[toners]\nmarigold = {}\n", "[toners]\nmarigold.density = 1.0\n"]
)
def test_what_has_no_table_of_its_own_is_left_alone(tmp_path: Path, toners: str) -> None:
    """The user is told what to write where."""
    path = tmp_path / "shelf.toml"
    path.write_text(toners + GROUND, encoding="utf-8")
    with pytest.raises(FewtoneError) as caught:
        write_strength(tmp_path, "marigold", STRENGTH)
    fault = caught.value.faults[0]
    assert (fault.file, fault.column) == ("shelf.toml", "toners.marigold.strength")
    assert "Write strength = 1.083" in (fault.fix or "")
    assert path.read_text(encoding="utf-8") == toners + GROUND


def test_a_full_disk_leaves_the_file_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """If writing fails halfway, the old file stands and nothing is left beside it."""

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    path = tmp_path / "shelf.toml"
    path.write_bytes(SHELF.encode())
    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(FewtoneError, match="No space left on device"):
        write_strength(tmp_path, "marigold", STRENGTH)
    assert {file.name: file.read_bytes() for file in tmp_path.iterdir()} == {
        "shelf.toml": SHELF.encode(),
        LOCK_FILE: b"",
    }
