"""Who may ask the board, and how its answers may be used.

What is promised
    Nobody gets a page but who came in with a key that this run made: its session is a cookie that
    no script reads and no other site sends. A request for another host's name (a name that was made
    to lead here) is refused, as is one that changes something and does not come from a form of the
    board's own: its origin must be the board's, and it must carry the session's form token. Pages
    run no script but the board's own file, load nothing from elsewhere, and stand in no frame.

Other devices
    With a one-time code, which is spoken of only to a browser on this machine. It lets one device
    in, holds for a quarter of an hour, and is void after ten wrong ones.
"""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from urllib.parse import parse_qsl

from starlette.datastructures import ImmutableMultiDict, MutableHeaders
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["FORM_TOKEN", "ONCE", "POLICY", "Doors", "Form", "Guard", "Refusal", "Session"]

FORM_TOKEN, ONCE = "form_token", "once"
"""The hidden fields that every form carries: the session's token, and what stands in it once."""

POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
"""The Content-Security-Policy of every page of the board's own."""

_HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Forms tell their origin under this one; under `no-referrer` they would say null.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
    "Cache-Control": "no-store",
}
_LARGEST_BODY = 2_000_000  # bytes: readings.csv has at most a few hundred rows
_MOST_FIELDS = 20_000
_MOST_SESSIONS = 200
_MOST_DONE = 1000
# No letters or digits that are taken for one another.
_CODE_LETTERS, _CODE_LENGTH = "23456789abcdefghjkmnpqrstuvwxyz", 10
_CODE_SECONDS, _WRONG_CODES = 900.0, 10

Form = ImmutableMultiDict[str, str]


@dataclass(frozen=True, slots=True)
class Session:
    """Somebody who came in.

    Parameters
    ----------
    token
        What its cookie holds.
    form_token
        What its forms carry.
    is_here
        Whether it is a browser on this machine, not another device.
    """

    token: str
    form_token: str
    is_here: bool


@dataclass(slots=True)
class _Code:
    """A one-time code and when it ends."""

    text: str
    until: float
    wrong: int = 0


@dataclass(slots=True)
class Doors:
    """Keys, sessions, and what was done already.

    Parameters
    ----------
    hosts
        The names with their port that the board answers to.
    cookie
        The name of its cookie: one for each port, as cookies know no ports.
    address, lan_address
        Where the board answers on this machine, and to other devices; None if it does not.
    key
        Lets a browser on this machine in, as often as it likes.
    """

    hosts: frozenset[str]
    cookie: str
    address: str
    lan_address: str | None = None
    key: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    _once: set[str] = field(default_factory=set)
    _code: _Code | None = None
    _sessions: OrderedDict[str, Session] = field(default_factory=OrderedDict)
    _done: OrderedDict[str, str] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @classmethod
    def of(cls, port: int, lan: str | None = None) -> Doors:
        """Doors of a board that listens on this machine, and at an address in the network."""
        names = ("127.0.0.1", "localhost", *(() if lan is None else (lan,)))
        return cls(
            hosts=frozenset(f"{name}:{port}" for name in names),
            cookie=f"fewtone-{port}",
            address=f"http://127.0.0.1:{port}/",
            lan_address=None if lan is None else f"http://{lan}:{port}/",
        )

    @property
    def way_in(self) -> str:
        """Leads a browser on this machine in, as often as it likes."""
        return f"{self.address}-/enter?key={self.key}"

    def way_in_once(self) -> str:
        """Leads the browser that is opened now in: other users of this machine may see it."""
        key = secrets.token_urlsafe(32)
        self._once.add(key)
        return f"{self.address}-/enter?key={key}"

    def way_in_from_outside(self) -> str | None:
        """Leads one other device in with the code that holds now; None if there is none."""
        code = self.code
        if self.lan_address is None or code is None:
            return None
        return f"{self.lan_address}-/enter?key={code}"

    def new_code(self) -> str:
        """A code for one other device; an older one is void."""
        text = "".join(secrets.choice(_CODE_LETTERS) for _ in range(_CODE_LENGTH))
        with self._lock:
            self._code = _Code(text, time.monotonic() + _CODE_SECONDS)
        return text

    @property
    def code(self) -> str | None:
        """The code that holds now."""
        code = self._code
        return code.text if code is not None and time.monotonic() < code.until else None

    def enter(self, key: str) -> Session | None:
        """Open a session with a key or a code; None if it is neither."""
        given = key.strip()
        with self._lock:
            if _same(given, self.key):
                return self._open(is_here=True)
            for known in self._once:
                if _same(given, known):
                    self._once.discard(known)
                    return self._open(is_here=True)
            code = self._code
            if code is None or time.monotonic() >= code.until:
                return None
            if _same(given.replace("-", "").replace(" ", "").lower(), code.text):
                self._code = None
                return self._open(is_here=False)
            code.wrong += 1
            if code.wrong >= _WRONG_CODES:
                self._code = None
            return None

    def session(self, cookie: str | None) -> Session | None:
        """The session that a cookie stands for."""
        with self._lock:
            if cookie is None or cookie not in self._sessions:
                return None
            self._sessions.move_to_end(cookie)
            return self._sessions[cookie]

    def done(self, once: str) -> str | None:
        """Where a form led that was sent already, told by what stands in it once."""
        return self._done.get(once) if once else None

    def note_done(self, once: str, led_to: str) -> None:
        """Remember where a form led."""
        with self._lock:
            self._done[once] = led_to
            while len(self._done) > _MOST_DONE:
                self._done.popitem(last=False)

    def _open(self, *, is_here: bool) -> Session:
        session = Session(secrets.token_urlsafe(32), secrets.token_urlsafe(32), is_here)
        self._sessions[session.token] = session
        while len(self._sessions) > _MOST_SESSIONS:
            self._sessions.popitem(last=False)
        return session


class Refusal(Exception):  # noqa: N818  # it is no error of the board's
    """A request that is not answered.

    Parameters
    ----------
    status
        Its HTTP status.
    words
        Why, in a sentence for whoever sees it.
    """

    def __init__(self, status: int, words: str) -> None:
        self.status, self.words = status, words
        super().__init__(words)


class Guard:
    """Stands before the pages: lets nothing through that is not meant for the board.

    Parameters
    ----------
    app
        The pages; a request reaches them with ``session`` and ``form`` in its state.
    doors
        Who may come in.
    open_to_all
        Paths that need no session: style sheet, script, and the way in.
    refused
        Makes the answer to a refusal.
    """

    def __init__(
        self,
        app: ASGIApp,
        doors: Doors,
        open_to_all: Iterable[str],
        refused: Callable[[Refusal], Response],
    ) -> None:
        self._app, self._doors, self._refused = app, doors, refused
        self._open = frozenset(open_to_all)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        request = Request(scope, receive)
        try:
            await self._admit(request)
        except Refusal as refusal:
            await self._refused(refusal)(scope, receive, with_headers)
            return
        await self._app(scope, receive, with_headers)

    async def _admit(self, request: Request) -> None:
        """Raise `Refusal` unless the request may pass; put what was learnt into its state."""
        host = request.headers.get("host", "")
        if host not in self._doors.hosts:
            raise Refusal(421, "The board does not answer to this name.")
        if request.method not in ("GET", "HEAD", "POST"):
            raise Refusal(405, "The board does not take requests of this kind.")
        session = self._doors.session(request.cookies.get(self._doors.cookie))
        request.state.session, request.state.form = session, None
        if session is None and request.url.path not in self._open:
            raise Refusal(403, "The board knows nobody here yet.")
        if request.method != "POST":
            return
        if session is None:
            raise Refusal(403, "The board knows nobody here yet.")
        # Whoever cannot tell where a form comes from is not let through.
        site = request.headers.get("sec-fetch-site", "same-origin")
        if request.headers.get("origin") != f"http://{host}" or site != "same-origin":
            raise Refusal(403, "This form does not come from the board itself.")
        form = await _form(request)
        if not _same(form.get(FORM_TOKEN, ""), session.form_token):
            raise Refusal(403, "This form is of another session: open its page again.")
        request.state.form = form


async def _form(request: Request) -> Form:
    """The fields of a form, in order.

    Raises
    ------
    Refusal
        It is of another kind than the board's forms, or too large.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/x-www-form-urlencoded":
        raise Refusal(415, "The board does not take forms of this kind.")
    body = bytearray()
    async for piece in request.stream():
        body += piece
        if len(body) > _LARGEST_BODY:
            raise Refusal(413, "This form is too large.")
    try:
        fields = parse_qsl(
            body.decode("ascii", "replace"), keep_blank_values=True, max_num_fields=_MOST_FIELDS
        )
    except ValueError:
        raise Refusal(413, "This form has too many fields.") from None
    return ImmutableMultiDict(fields)


def _same(given: str, known: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "replace"), known.encode())
