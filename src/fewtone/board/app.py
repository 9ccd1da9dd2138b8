"""From addresses to pages: which page answers what, and what happens when one cannot."""

from __future__ import annotations

import traceback
from collections.abc import Callable
from functools import cache
from importlib import resources

from anyio import CapacityLimiter, to_thread
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from fewtone.board.bench import Bench
from fewtone.board.pages import (
    ask,
    book,
    bottle,
    compare,
    door,
    panel,
    pour,
    prints,
    reach,
    readings,
    recipe,
    shelf,
    simplify,
    take,
)
from fewtone.board.safety import ONCE, Doors, Guard, Refusal
from fewtone.board.visit import Visit, drawn
from fewtone.errors import Fault, FewtoneError
from fewtone.io.fault_report import write_fault_report

__all__ = ["create_app"]

Page = Callable[[Visit], Response]

# What a page of the board is made of beside its HTML; nothing else is ever read for a request.
_FILES = {"board.css": "text/css; charset=utf-8", "board.js": "text/javascript; charset=utf-8"}
_PAGES: tuple[tuple[str, str, Page], ...] = (
    ("GET", "/", door.choose),
    ("POST", "/", door.make),
    ("GET", "/-/devices", door.devices),
    ("POST", "/-/devices", door.invite),
    ("GET", "/{shelf}/shelf", shelf.look),
    ("GET", "/{shelf}/learn", shelf.progress),
    ("POST", "/{shelf}/learn", shelf.learn),
    ("GET", "/{shelf}/readings", readings.overview),
    ("GET", "/{shelf}/rows", readings.rows),
    ("POST", "/{shelf}/rows", readings.save),
    ("GET", "/{shelf}/take", take.look),
    ("POST", "/{shelf}/take", take.take),
    ("GET", "/{shelf}/bottle", bottle.look),
    ("POST", "/{shelf}/bottle", bottle.apply),
    ("GET", "/{shelf}/ask", ask.ask),
    ("GET", "/{shelf}/reach", reach.reach),
    ("GET", "/{shelf}/recipe", recipe.hold),
    ("POST", "/{shelf}/keep", recipe.keep),
    ("GET", "/{shelf}/simplify", simplify.simplify),
    ("GET", "/{shelf}/compare", compare.compare),
    ("GET", "/{shelf}/pour", pour.pour),
    ("POST", "/{shelf}/pour", pour.note_down),
    ("GET", "/{shelf}/panel", panel.read),
    ("POST", "/{shelf}/panel", panel.keep),
    ("GET", "/{shelf}/book", book.wall),
    ("GET", "/{shelf}/job", book.job),
    ("POST", "/{shelf}/job", book.write),
    ("GET", "/{shelf}/sheet", prints.sheet),
    ("GET", "/{shelf}/label", prints.label),
)

# Pages are worked out by the processor alone: more at once would take more memory and no less time.
_MOST_THREADS = 4


def create_app(bench: Bench, doors: Doors) -> ASGIApp:
    """The board as an ASGI application.

    Parameters
    ----------
    bench
        What it works on.
    doors
        Who may come in.
    """
    threads = CapacityLimiter(_MOST_THREADS)
    by_path: dict[str, dict[str, Page]] = {}
    for method, path, page in _PAGES:
        by_path.setdefault(path, {})[method] = page
    routes = [Route(f"/-/{name}", _static(name), methods=["GET"]) for name in _FILES]
    routes.append(Route("/-/enter", _entrance(doors), methods=["GET"]))
    routes += [
        Route(path, _answering(bench, doors, pages, threads), methods=list(pages))
        for path, pages in by_path.items()
    ]
    application = Starlette(
        routes=routes,
        exception_handlers={
            404: _refusing(Refusal(404, "There is no such page.")),
            405: _refusing(Refusal(405, "This page is not asked so.")),
        },
    )
    # The router would lead to another host's name if it were asked to.
    application.router.redirect_slashes = False
    return Guard(application, doors, [f"/-/{name}" for name in (*_FILES, "enter")], _refused)


def _answering(
    bench: Bench, doors: Doors, pages: dict[str, Page], threads: CapacityLimiter
) -> Callable[[Request], object]:
    async def answer(request: Request) -> Response:
        page = pages.get("GET" if request.method == "HEAD" else request.method)
        assert page is not None  # the router lets no other method through
        return await to_thread.run_sync(
            _answered, page, Visit(bench, doors, request), limiter=threads
        )

    return answer


def _answered(page: Page, visit: Visit) -> Response:
    """What a page answers; whatever it raises becomes a page that says so."""
    try:
        if visit.form is None:
            return page(visit)
        # Two tabs, two writers: one after the other; and a form that is sent twice counts once.
        with visit.bench.writing:
            once = visit.form.get(ONCE, "")
            if led_to := visit.doors.done(once):
                return visit.go(led_to)
            answer = page(visit)
            if once and answer.status_code == 303:
                visit.doors.note_done(once, answer.headers["location"])
            return answer
    except Refusal as refusal:
        return _refused(refusal)
    except FewtoneError as error:
        return visit.refused(error)
    except Exception as error:  # the last door: nobody sees a traceback
        file = write_fault_report(
            f"the board's page {visit.path}", traceback.format_exception(error)
        )
        fault = Fault(
            "This is a fault of fewtone, not of your data.",
            fix="Please pass the report on, and go back to the page before.",
            file=file,
        )
        return visit.page("wrong", status=500, faults=[fault])


def _static(name: str) -> Callable[[Request], object]:
    async def answer(_: Request) -> Response:
        return Response(_content(name), media_type=_FILES[name])

    return answer


@cache
def _content(name: str) -> bytes:
    return resources.files("fewtone.board").joinpath("static", name).read_bytes()


def _entrance(doors: Doors) -> Callable[[Request], object]:
    """The way in: a key or a code for a session."""

    async def enter(request: Request) -> Response:
        session = doors.enter(request.query_params.get("key", ""))
        if session is None:
            return _refused(Refusal(403, "This key or code does not hold, or not any more."))
        answer = Response(status_code=303, headers={"location": "/"})
        answer.set_cookie(doors.cookie, session.token, httponly=True, samesite="strict", path="/")
        return answer

    return enter


def _refusing(refusal: Refusal) -> Callable[[Request, Exception], Response]:
    def refuse(_: Request, __: Exception) -> Response:
        return _refused(refusal)

    return refuse


def _refused(refusal: Refusal) -> Response:
    values = {"status": refusal.status, "words": refusal.words}
    return HTMLResponse(drawn("refused", values), refusal.status)
