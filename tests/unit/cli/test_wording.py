"""The library speaks of parameters; what the command line says has its options."""

from __future__ import annotations

import re
from pathlib import Path

import fewtone
from fewtone.cli.wording import in_options, with_options
from fewtone.errors import Fault

SOURCE = Path(fewtone.__file__).parent


def test_parameters_become_options() -> None:
    """Known ones alone: commands and file keys stay as they are."""
    said = "Allow more (`max_toners`), or run `fewtone learn`; `strength` in shelf.toml."
    assert in_options(said) == (
        "Allow more (--max-toners), or run `fewtone learn`; `strength` in shelf.toml."
    )
    fault = with_options(Fault("`grounds` is empty.", fix="Leave `grounds` out.", value="`left`"))
    assert (fault.message, fault.fix) == ("--ground is empty.", "Leave --ground out.")
    assert fault.value == "`left`"


def test_the_library_names_no_option() -> None:
    """Outside the command line's room no message has one, but in a whole command."""
    option = re.compile(r'"[^"\n]*(?<![-\w])--[a-z][a-z-]+[^"\n]*"')
    whole = re.compile(r"`fewtone [^`]*`|``--json``")
    named = {
        f"{path.relative_to(SOURCE)}: {found[0]}"
        for path in sorted(SOURCE.rglob("*.py"))
        if "cli" not in path.parts
        for found in option.finditer(whole.sub("", path.read_text(encoding="utf-8")))
        # What `batch` may be asked instead is told, in JSON too, as the options that ask for it.
        if path != SOURCE / "report" / "phrases.py"
    }
    assert not named
