"""Finding what is meant by a name: toners, grounds, panels, samples, options.

A name is found in any case, with spaces, hyphens and underscores alike; what has a label is found
by its label too. What is not found is told with all that there is and the nearest of it, in one
form of words everywhere.
"""

from __future__ import annotations

import difflib
import functools
import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import ParamSpec, TypeVar

from fewtone.errors import Fault, UsageError

__all__ = [
    "NAME",
    "NAME_RULE",
    "RESERVED",
    "Names",
    "UnknownOptionError",
    "as_names",
    "did_you_mean",
    "named_options",
    "nearest",
    "slug",
]

NAME = r"[a-z][a-z0-9-]*"
NAME_RULE = "a letter, then a-z, 0-9 and hyphens"
RESERVED = frozenset({"medium", "over", "coat", "coats"})

_LONGEST = 60  # characters of a name; what is longer is not a slip of the pen of one
_LIKE = 0.6  # of difflib's ratio, from which on a name is worth suggesting
_PLENTY = 30  # names beyond which listing them all helps nobody

P = ParamSpec("P")
T = TypeVar("T")


def nearest(name: str, known: Iterable[str], *, like: float = _LIKE) -> str | None:
    """The known name that is most like another, in any case; None where none is near.

    Parameters
    ----------
    name
        What was written.
    known
        What there is.
    like
        How alike they must be, 0 to 1.
    """
    if len(name) > _LONGEST:
        return None
    folded = {_folded(one): one for one in known if len(one) <= _LONGEST}
    close = difflib.get_close_matches(_folded(name), list(folded), n=1, cutoff=like)
    return folded[close[0]] if close else None


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """Return ' Did you mean …?' if a known name is close, else nothing.

    Parameters
    ----------
    name
        As it was typed.
    known
        The names that there are.
    """
    close = nearest(name, known)
    return f" Did you mean '{close}'?" if close else ""


def as_names(names: str | Iterable[str]) -> tuple[str, ...]:
    """Names as a tuple; a lone string is one name, not a list of letters.

    Parameters
    ----------
    names
        One name, or several.
    """
    return (names,) if isinstance(names, str) else tuple(names)


def slug(label: str) -> str:
    """A name made from a label, ``Ruby Red`` → ``ruby-red``; empty where no letter of it is left.

    Accents are dropped; what does not begin with a letter keeps its digits behind an ``n``.

    Parameters
    ----------
    label
        Anything, in any script.
    """
    plain = unicodedata.normalize("NFKD", label).encode("ascii", "ignore").decode()
    name = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")
    return f"n{name}" if name[:1].isdigit() else name


@dataclass(frozen=True, slots=True)
class Names:
    """Names of one kind of thing, with their labels.

    Parameters
    ----------
    kind
        What they name, such as ``toner``.
    labels
        Label by name; a name may be its own label.
    home
        Where they stand, for messages.
    """

    kind: str
    labels: Mapping[str, str]
    home: str = "this shelf"

    @classmethod
    def of(cls, kind: str, names: Iterable[str], home: str = "this shelf") -> Names:
        """Names without labels.

        Parameters
        ----------
        kind
            What they are names of, such as ``toner``.
        names
            The names.
        home
            Where they stand, for messages.
        """
        return cls(kind, {name: name for name in names}, home)

    def __iter__(self) -> Iterator[str]:
        return iter(self.labels)

    def find(self, text: str) -> str | None:
        """The name that is meant, by name or label; None where there is none, or several.

        Parameters
        ----------
        text
            As it was typed, any case.
        """
        meant = self._meant(text)
        return meant[0] if len(meant) == 1 else None

    def is_shared(self, text: str) -> bool:
        """Whether this is the label of several.

        Parameters
        ----------
        text
            As it was typed, any case.
        """
        return len(self._meant(text)) > 1

    def hint(self, text: str) -> str:
        """`` Did you mean …?`` with the name whose name or label is nearest; empty if none is.

        Parameters
        ----------
        text
            As it was typed.
        """
        close = nearest(text, self.labels) or nearest(text, self.labels.values())
        return "" if close is None else f" Did you mean '{self.find(close) or close}'?"

    def fault(self, text: str, *, where: str = "", fix: str | None = None) -> Fault:
        """What to say of a name that `find` does not know.

        Parameters
        ----------
        text
            What was written.
        where
            Put in front, such as ``--use: ``.
        fix
            What to do; a plain advice if None.
        """
        several = self._meant(text)
        if len(several) > 1:
            return Fault(
                f"{where}'{text}' is the label of several {self.kind}s: {', '.join(several)}.",
                fix="Write the name of the one that is meant.",
                value=text,
            )
        names = list(self.labels)
        more = ", …" if len(names) > _PLENTY else ""
        return Fault(
            f"{where}'{text}' is not a {self.kind} of {self.home} "
            f"({', '.join(names[:_PLENTY])}{more}).{self.hint(text)}",
            fix=fix or "Correct the name.",
            value=text,
        )

    def resolve(
        self,
        asked: str | Iterable[str],
        faults: list[Fault],
        *,
        where: str = "",
        fix: str | None = None,
    ) -> tuple[str, ...]:
        """The names that are meant, each once; a fault is noted for each that is not known.

        Parameters
        ----------
        asked
            One name or label, or several.
        faults
            To which those that are not known are added.
        where
            What stands before each message, such as the option.
        fix
            How to mend it; a list of what there is if None.
        """
        resolved: dict[str, None] = {}
        for text in as_names(asked):
            name = self.find(text)
            if name is None:
                faults.append(self.fault(text, where=where, fix=fix))
            else:
                resolved[name] = None
        return tuple(resolved)

    def require(
        self, asked: str | Iterable[str], *, where: str = "", fix: str | None = None
    ) -> tuple[str, ...]:
        """The names that are meant, each once.

        Parameters
        ----------
        asked
            One name or label, or several.
        where
            What stands before each message, such as the option.
        fix
            How to mend it; a list of what there is if None.

        Raises
        ------
        UsageError
            All that are not known, each with the nearest one.
        """
        faults: list[Fault] = []
        resolved = self.resolve(asked, faults, where=where, fix=fix)
        if faults:
            raise UsageError(*faults)
        return resolved

    def at(self, text: str, start: int) -> tuple[str, int] | None:
        """The longest name or label that stands in a text at a place, and where it ends.

        Parameters
        ----------
        text
            A line.
        start
            Where in it, in characters from 0.
        """
        best: tuple[str, int] | None = None
        for written in {*self.labels, *self.labels.values()}:
            match = _pattern(written).match(text, start)
            if match and match[0] and (best is None or match.end() > best[1]):
                name = self.find(match[0])
                if name is not None:
                    best = name, match.end()
        return best

    def _meant(self, text: str) -> list[str]:
        wanted = _folded(text)
        by_name = [name for name in self.labels if _folded(name) == wanted]
        return by_name or [name for name, label in self.labels.items() if _folded(label) == wanted]


class UnknownOptionError(UsageError, TypeError):
    """A call was given an option that it does not have.

    Attributes
    ----------
    option
        Its name.
    known
        The options that there are.
    """

    def __init__(self, option: str, known: Iterable[str]) -> None:
        self.option, self.known = option, tuple(known)
        super().__init__(
            Fault(
                f"There is no option '{option}' here.{did_you_mean(option, self.known)}",
                fix=f"Allowed: {', '.join(self.known)}.",
                value=option,
            )
        )


def named_options(function: Callable[P, T]) -> Callable[P, T]:
    """Let a call answer an unknown keyword with the nearest one, as `UnknownOptionError`.

    A function that hands ``**options`` on to another such function adds its own to the answer.

    Parameters
    ----------
    function
        What is called; its keywords, or those of its options, are known.

    Raises
    ------
    UnknownOptionError
        By the call that it returns: a keyword that is not known.
    """
    code = function.__code__
    count = code.co_argcount + code.co_kwonlyargcount
    accepted = code.co_varnames[:count]
    options = accepted[code.co_argcount :] or accepted
    hands_on = bool(code.co_flags & 0x08)

    @functools.wraps(function)
    def call(*args: P.args, **kwargs: P.kwargs) -> T:
        if not hands_on:
            for name in kwargs:
                if name not in accepted:
                    raise UnknownOptionError(name, options)
            return function(*args, **kwargs)
        try:
            return function(*args, **kwargs)
        except UnknownOptionError as error:
            raise UnknownOptionError(error.option, (*options, *error.known)) from None

    return call


# A shelf has few names, and its readings ask for them in each row.
@functools.lru_cache(maxsize=4096)
def _pattern(written: str) -> re.Pattern[str]:
    words = [re.escape(word) for word in re.split(r"[\s_-]+", written.strip()) if word]
    return re.compile(r"[\s_-]+".join(words) + r"(?![\w-])", re.IGNORECASE)


@functools.lru_cache(maxsize=4096)
def _folded(text: str) -> str:
    return re.sub(r"[\s_-]+", " ", text.strip()).casefold()
