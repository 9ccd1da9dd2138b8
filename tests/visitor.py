"""A visitor of the board who has no scripts: follows links, fills forms in, keeps its cookie.

Forms are read out of the pages as a browser reads them, so that what a page forgets to say is
forgotten here too.
"""

from __future__ import annotations

import http.client
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlencode, urlsplit

from fewtone.board.bench import Bench
from fewtone.board.safety import Doors
from fewtone.board.server import Board

__all__ = ["Answer", "Form", "Visitor", "open_board"]

_TIMEOUT_S = 60


class Answer(NamedTuple):
    """What the board answered."""

    status: int
    text: str
    headers: Mapping[str, str]
    address: str

    def figures(self, name: str) -> list[float]:
        """The values of all ``data`` elements of one kind, in order."""
        return [float(value) for kind, value in _Reader.of(self.text).data if kind == name]

    @property
    def forms(self) -> list[Form]:
        """The forms that stand on the page."""
        return _Reader.of(self.text).forms

    @property
    def links(self) -> list[str]:
        """Where its links lead."""
        return _Reader.of(self.text).links

    @property
    def words(self) -> str:
        """Its text as a person reads it, white space as single spaces."""
        return " ".join("".join(_Reader.of(self.text).words).split())

    def form(self, action: str, *, method: str = "post", having: str = "") -> Form:
        """The one form with this action's path, and with a field of that name."""
        found = [
            one
            for one in self.forms
            if urlsplit(one.action).path == action
            and one.method == method
            and (not having or having in dict(one.fields) or having in one.names)
        ]
        assert found, f"no form for {action} on {self.address}"
        return found[0]


@dataclass
class Form:
    """A form: where it goes, and what stands in it."""

    action: str
    method: str
    fields: list[tuple[str, str]] = field(default_factory=list)
    names: set[str] = field(default_factory=set)

    def filled(self, **values: str | Sequence[str]) -> list[tuple[str, str]]:
        """Its fields with some filled in otherwise."""
        kept = [(name, value) for name, value in self.fields if name not in values]
        for name, value in values.items():
            kept += [(name, one) for one in ([value] if isinstance(value, str) else value)]
        return kept


class _Reader(HTMLParser):
    """Takes a page apart."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.forms: list[Form] = []
        self.links: list[str] = []
        self.words: list[str] = []
        self.data: list[tuple[str, str]] = []
        self._in: Form | None = None
        self._select: str | None = None
        self._area: str | None = None
        self._silent = False

    @classmethod
    def of(cls, text: str) -> _Reader:
        reader = cls()
        reader.feed(text)
        reader.close()
        return reader

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._in = Form(has.get("action", ""), has.get("method", "get"))
            self.forms.append(self._in)
        elif tag == "a" and "href" in has:
            self.links.append(has["href"])
        elif tag == "data":
            self.data.append((has.get("data-field", ""), has.get("value", "")))
        elif tag in ("script", "style", "title"):
            self._silent = True
        form = self._in
        if form is None or tag not in ("input", "select", "option", "textarea", "button"):
            return
        name = has.get("name", "")
        form.names.add(name)
        if tag == "input" and name:
            kind = has.get("type", "text")
            if kind != "checkbox" or "checked" in has:
                form.fields.append((name, has.get("value", "on" if kind == "checkbox" else "")))
        elif tag == "select":
            self._select = name
        elif tag == "option" and self._select is not None:
            chosen = [one for one, _ in form.fields if one == self._select]
            if "selected" in has and chosen:
                form.fields = [one for one in form.fields if one[0] != self._select]
                chosen = []
            if not chosen:
                form.fields.append((self._select, has.get("value", "")))
        elif tag == "textarea":
            self._area = name
            form.fields.append((name, ""))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._in = None
        elif tag == "select":
            self._select = None
        elif tag == "textarea":
            self._area = None
        elif tag in ("script", "style", "title"):
            self._silent = False

    def handle_data(self, data: str) -> None:
        if self._area is not None and self._in is not None:
            name, value = self._in.fields[-1]
            # The first line's end after the tag is no part of it (HTML, 13.1.2.6).
            self._in.fields[-1] = (name, value + (data if value else data.removeprefix("\n")))
        elif not self._silent:
            self.words.append(data)


class Visitor:
    """Asks the board; follows where it leads, as long as it is not told otherwise."""

    def __init__(self, doors: Doors, *, let_in: bool = True) -> None:
        self.host = urlsplit(doors.address).netloc
        self.cookie = ""
        if let_in:
            way_in = urlsplit(doors.way_in)
            self.ask("GET", f"{way_in.path}?{way_in.query}", follow=False)

    def get(self, path: str, **query: str | Sequence[str]) -> Answer:
        """A page."""
        said = urlencode(query, doseq=True)
        return self.ask("GET", f"{path}?{said}" if said else path)

    def send(self, form: Form, **values: str | Sequence[str]) -> Answer:
        """A form, with some of its fields filled in."""
        said = urlencode(form.filled(**values))
        if form.method == "get":
            return self.ask("GET", f"{urlsplit(form.action).path}?{said}")
        return self.ask("POST", form.action, body=said)

    def ask(
        self,
        method: str,
        path: str,
        *,
        body: str | None = None,
        headers: Mapping[str, str] | None = None,
        follow: bool = True,
    ) -> Answer:
        """One request; `headers` stand in place of those that a browser would send."""
        sent = {"Host": self.host}
        if self.cookie:
            sent["Cookie"] = self.cookie
        if body is not None:
            sent["Content-Type"] = "application/x-www-form-urlencoded"
            sent["Origin"] = f"http://{self.host}"
        sent |= headers or {}
        connection = http.client.HTTPConnection(self.host, timeout=_TIMEOUT_S)
        try:
            connection.putrequest(method, path, skip_host=True)
            data = None if body is None else body.encode()
            if data is not None:
                connection.putheader("Content-Length", str(len(data)))
            for name, value in sent.items():
                if value:
                    connection.putheader(name, value)
            connection.endheaders(data)
            answer = connection.getresponse()
            text = answer.read().decode()
            told = {name.lower(): value for name, value in answer.getheaders()}
        finally:
            connection.close()
        if "set-cookie" in told:
            self.cookie = told["set-cookie"].split(";")[0]
        if follow and answer.status == 303:
            return self.ask("GET", told["location"])
        return Answer(answer.status, text, told, path)


@contextmanager
def open_board(
    home: Path,
    *,
    folder: Path | None = None,
    book: Path | None = None,
    deck: Path | None = None,
    lan: str | None = None,
) -> Iterator[Doors]:
    """A board that serves in a thread of this process, on any free port."""
    board = Board(Bench(home, folder=folder, book=book, deck=deck), port=0, lan=lan)
    board.listen()
    server, doors = board.server()
    thread = threading.Thread(target=server.run, kwargs={"sockets": board.sockets}, daemon=True)
    thread.start()
    try:
        yield doors
    finally:
        server.should_exit = True
        thread.join(10)
        for one in board.sockets:
            one.close()
