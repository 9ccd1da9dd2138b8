"""One request, and how it is answered: what it works on, its links, its page."""

from __future__ import annotations

import secrets
from dataclasses import replace
from functools import cache, cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from fewtone.board.bench import Bench, OpenShelf
from fewtone.board.requests import requested
from fewtone.board.safety import FORM_TOKEN, ONCE, Doors, Form, Refusal, Session
from fewtone.board.ticket import Ticket
from fewtone.board.wording import in_fields, with_fields
from fewtone.errors import FewtoneError, UsageError
from fewtone.jobs import Job, of_shelf
from fewtone.model.recipe import Recipe
from fewtone.model.target import Target
from fewtone.report.page import SAFETY, environment
from fewtone.report.swatches import RULE
from fewtone.shelf import Shelf
from fewtone.version import __version__

if TYPE_CHECKING:
    from jinja2 import Environment

__all__ = ["Visit", "drawn"]


class Visit:
    """A request to a page.

    Parameters
    ----------
    bench, doors
        What the board works on, and who may come in.
    request
        The request, which has passed the guard.
    """

    def __init__(self, bench: Bench, doors: Doors, request: Request) -> None:
        self.bench, self.doors = bench, doors
        self.session: Session | None = request.state.session
        self.form: Form | None = request.state.form
        self.query: QueryParams = request.query_params
        self.path = request.url.path
        self._names = request.path_params

    @cached_property
    def open_shelf(self) -> OpenShelf:
        """The shelf that the address names.

        Raises
        ------
        Refusal
            There is none of that key.
        """
        open_shelf = self.bench.open_shelves().get(self._names.get("shelf", ""))
        if open_shelf is None:
            raise Refusal(404, "There is no such shelf here.")
        return open_shelf

    @cached_property
    def shelf(self) -> Shelf:
        """That shelf, learnt."""
        return self.open_shelf.shelf()

    @cached_property
    def ticket(self) -> Ticket:
        """What the page works on, as it was said; with a job its own where nothing else was."""
        return Ticket.of(self.query if self.form is None else self.form)

    @cached_property
    def job(self) -> Job | None:
        """The job that is worked on.

        Raises
        ------
        FewtoneError
            There is no such job, or it is of another shelf.
        """
        if not self.ticket.job:
            return None
        return of_shelf(self.bench.book.job(self.ticket.job), self.open_shelf.settings())

    def work_on(self, job: str) -> None:
        """Work on a job from here on."""
        self.ticket = self.ticket.with_(job=job)
        self.__dict__.pop("job", None)

    @cached_property
    def recipe(self) -> Recipe | None:
        """The recipe as said, else that of the job."""
        if self.ticket.recipe:
            return self.shelf.settings.recipe(self.ticket.recipe)
        return None if self.job is None else self.job.recipe

    @cached_property
    def target(self) -> Target | None:
        """What was asked for as said, else that of the job."""
        if self.ticket.target:
            light = self.ticket.light or None
            return requested(self.open_shelf, self.shelf, self.ticket.target, light)
        return None if self.job is None else self.job.target

    @property
    def tolerance(self) -> float | None:
        """The ΔE00 that passes; None for the shelf's own."""
        if not self.ticket.tolerance and self.job is not None:
            return self.job.tolerance
        return self.ticket.passing

    def to(self, page: str, ticket: Ticket | None = None, **more: object) -> str:
        """The address of another page about the same, or about another ticket."""
        about = self.ticket if ticket is None else ticket
        return f"/{self.open_shelf.key}/{page}{about.query(**more)}"

    def plain(self, page: str, **values: object) -> str:
        """The address of a page about nothing in particular."""
        query = {name: str(value) for name, value in values.items() if value not in (None, "")}
        return f"/{self.open_shelf.key}/{page}" + (f"?{urlencode(query)}" if query else "")

    def go(self, address: str) -> Response:
        """Lead the browser on to another page."""
        return RedirectResponse(address, status_code=303)

    def page(self, template: str, *, status: int = 200, **values: Any) -> Response:
        """A page out of its template.

        Parameters
        ----------
        template
            Its name without endings.
        status
            The HTTP status.
        **values
            What the template asks for.
        """
        common: dict[str, Any] = {
            "visit": self,
            "open_shelf": self._readable_shelf(),
            "here": template,
            "form_token": "" if self.session is None else self.session.form_token,
            "form_token_name": FORM_TOKEN,
            "once_name": ONCE,
            "once": lambda: secrets.token_urlsafe(12),
        }
        return HTMLResponse(drawn(template, {**common, **values}), status)

    def _readable_shelf(self) -> OpenShelf | None:
        """The shelf that the address names, if there is one and its shelf.toml can be read."""
        open_shelf = self.bench.open_shelves().get(self._names.get("shelf", ""))
        if open_shelf is None:
            return None
        try:
            open_shelf.settings()
        except FewtoneError:
            return None
        return open_shelf

    def faults(self, error: FewtoneError) -> list[Any]:
        """What is wrong, in the words of the pages; of a file only its name."""
        return [
            with_fields(fault if fault.file is None else replace(fault, file=Path(fault.file).name))
            for fault in error.faults
        ]

    def refused(self, error: FewtoneError) -> Response:
        """A page that says what is wrong and how to mend it."""
        status = 400 if isinstance(error, UsageError) else 409
        return self.page("wrong", status=status, faults=self.faults(error))


def drawn(template: str, values: dict[str, Any]) -> str:
    """A template filled in."""
    return str(_environment().get_template(f"{template}.html.jinja").render(values))


@cache
def _environment() -> Environment:
    """As the printed page's, with what the board's own templates ask for."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates", encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["figure"] = environment().filters["figure"]
    made.filters["in_fields"] = in_fields
    made.globals |= {"safety": SAFETY, "rule": RULE, "version": __version__}
    return made
