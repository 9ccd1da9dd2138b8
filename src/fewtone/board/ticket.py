"""What a page works on, as it stands in its address: target, recipe, job.

Names in addresses are those of the command line's options, so that an address can be read.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from urllib.parse import urlencode

from fewtone.errors import Fault, UsageError
from fewtone.model.numbers import decimal_from

__all__ = ["Ticket"]

_LARGEST_TOLERANCE = 100


@dataclass(frozen=True, slots=True)
class Ticket:
    """What was asked for and what was chosen; empty where nothing was said.

    Parameters
    ----------
    target, light, recipe, job, tolerance
        As the commands take them.
    """

    target: str = ""
    light: str = ""
    recipe: str = ""
    job: str = ""
    tolerance: str = ""

    @classmethod
    def of(cls, values: Mapping[str, str]) -> Ticket:
        """Out of an address or a form."""
        return cls(**{name: values.get(name, "").strip() for name in cls.__slots__})

    @property
    def fields(self) -> dict[str, str]:
        """What is not empty."""
        return {name: value for name, value in asdict(self).items() if value}

    def with_(self, **changes: str) -> Ticket:
        """Return the same with some of it replaced."""
        return replace(self, **changes)

    def query(self, **more: object) -> str:
        """The part of an address behind its path, question mark included; empty if all is.

        Parameters
        ----------
        **more
            What stands there beside its own fields; a list's items one by one.
        """
        values: dict[str, object] = {
            **self.fields,
            **{
                name: v if isinstance(v, list) else str(v)
                for name, v in more.items()
                if v not in (None, "")
            },
        }
        return f"?{urlencode(values, doseq=True)}" if values else ""

    @property
    def passing(self) -> float | None:
        """The tolerance; None for the shelf's own.

        Raises
        ------
        UsageError
            It is no number above 0.
        """
        if not self.tolerance:
            return None
        value = decimal_from(self.tolerance)
        if value is None or not 0 < value <= _LARGEST_TOLERANCE:
            raise UsageError(
                Fault(
                    f"'{self.tolerance}' is no tolerance: a ΔE00 above 0 is.",
                    fix="Write such as 1.0, or leave it empty for the shelf's own.",
                    value=self.tolerance,
                )
            )
        return float(value)
