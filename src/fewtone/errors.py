"""What can be wrong, said so that it can be mended.

Every error that a user may cause is a `FewtoneError`: a list of `Fault`, each naming where it is
(file, row, column), what stands there (value), what is allowed (message) and how to mend it (fix).
Readers collect all the faults of a file before they raise, so that one look mends them all.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Fault", "FewtoneError", "UsageError"]


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

    def __str__(self) -> str:
        """One line: where, what, how to mend it."""
        where = [self.file] if self.file else []
        if self.row is not None:
            where.append(f"row {self.row}")
        if self.column:
            where.append(self.column)
        place = ", ".join(where)
        text = f"{place}: {self.message}" if place else self.message
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
