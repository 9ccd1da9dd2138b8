"""What can be wrong, said so that it can be mended.

Every error that a user may cause is a `FewtoneError`: a list of `Fault`, each naming where it is
(file, row, column), what stands there (value), what is allowed (message) and how to mend it (fix).
Readers collect all the faults of a file before they raise, so that one look mends them all.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["UNPRINTABLE", "Fault", "FaultList", "FewtoneError", "UsageError", "printable"]

# A file in which every value is wrong needs no million messages, nor one that repeats the file.
_MOST_SHOWN, _MOST_KEPT = 50, 1000
_LONGEST = {"message": 3000, "fix": 3000, "column": 200, "value": 300}

# Controls but line feed and tab; line and paragraph separators; what turns the direction of text;
# halves of characters, which no encoding takes.
UNPRINTABLE = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ud800-\udfff]"
)


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong.

    Parameters
    ----------
    message
        What is wrong and what is allowed, one sentence.
    fix
        How to mend it, one sentence.
    file, row, column, value
        Where it is and what stands there. Rows count from 1, the header line included; in
        ``shelf.toml`` the column is the dotted key.
    """

    message: str
    fix: str | None = None
    file: str | None = None
    row: int | None = None
    column: str | None = None
    value: str | None = None

    def __post_init__(self) -> None:
        for name, longest in _LONGEST.items():
            text = getattr(self, name)
            if text is not None and len(text) > longest:
                object.__setattr__(self, name, f"{text[:longest]}…")

    def __str__(self) -> str:
        """One line: where, what, how to mend it."""
        where = [self.file] if self.file else []
        if self.row is not None:
            where.append(f"row {self.row}")
        if self.column:
            where.append(self.column)
        location = ", ".join(where)
        text = f"{location}: {self.message}" if location else self.message
        return f"{text} {self.fix}" if self.fix else text


class FewtoneError(Exception):
    """The user's data or request cannot be used as it stands.

    Attributes
    ----------
    faults
        All that was found wrong, in the order of the file.
    exit_code
        What the command line exits with.
    """

    exit_code = 1

    def __init__(self, *faults: Fault | str) -> None:
        self.faults = tuple(Fault(f) if isinstance(f, str) else f for f in faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class UsageError(FewtoneError):
    """The command or call itself is wrong (an unknown option value, a target that is no colour)."""

    exit_code = 2


class FaultList(list[Fault]):
    """Faults as they are found: of very many only the first are kept, the others counted.

    Attributes
    ----------
    total
        How many were found.
    """

    def __init__(self) -> None:
        super().__init__()
        self.total = 0

    @property
    def is_full(self) -> bool:
        """Whether more are only counted."""
        return len(self) >= _MOST_KEPT

    def append(self, fault: Fault) -> None:
        """Note a fault."""
        self.total += 1
        if not self.is_full:
            super().append(fault)

    def extend(self, faults: Iterable[Fault]) -> None:
        """Note several."""
        if isinstance(faults, FaultList):
            self.total += faults.total - len(faults)
        for fault in faults:
            self.append(fault)

    def __iadd__(self, faults: Iterable[Fault]) -> FaultList:  # type: ignore[override, misc]
        self.extend(faults)
        return self

    def raise_if_any(self) -> None:
        """Raise them in the order of their rows, of very many the first ones.

        Raises
        ------
        FewtoneError
            There are any.
        """
        if not self:
            return
        shown = sorted(self[:_MOST_SHOWN], key=lambda fault: fault.row or 0)
        if more := self.total - len(shown):
            shown.append(Fault(f"And {more} more faults of the kind.", None, self[0].file))
        raise FewtoneError(*shown)


def printable(text: str) -> str:
    r"""Text with what is not printable written out, such as ``\x1b`` for the escape character.

    Parameters
    ----------
    text
        Any text.
    """
    return UNPRINTABLE.sub(_in_escapes, text)


def _in_escapes(match: re.Match[str]) -> str:
    code = ord(match[0])
    if 0xDC80 <= code <= 0xDCFF:  # a byte of an argument or a name that is no UTF-8
        code -= 0xDC00
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"
