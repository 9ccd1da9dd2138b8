"""The board's pages under hostile queries and forms: one visit of one page a case."""

from __future__ import annotations

import random
import re
import threading
from pathlib import Path
from urllib.parse import quote, urlencode, urlsplit

from hostile.arguments import OTHERS, RECIPES, TARGETS, hurt_text
from hostile.contract import RAW, Outcome, Snapshot, unsafe
from hostile.hurt import HOSTILE, NUMBERS
from visitor import Answer, Form, Visitor, open_board

__all__ = ["form_breaches", "visit"]

_STATUSES = (200, 303, 400, 403, 404, 405, 409, 413, 421, 422)
_PAGES = (
    *("", "shelf", "learn", "readings", "rows", "ask", "recipe", "simplify", "pour"),
    *("panel", "book", "job", "sheet", "label", "nothing"),
)
_QUERIES = (
    *("recipe", "target", "job", "panel", "volume", "L", "a", "b", "L1", "a1", "b1", "light"),
    *("ground", "tolerance", "max_toners", "coats", "without", "all", "search", "number"),
)
# What a form sent to the board may write or make; a shelf's own small files besides.
_WRITTEN = (
    *("readings.csv", "shelf.toml", "curves.csv", "learnt.json"),
    *("book.db", ".fewtone.lock", "README.txt"),
)
_LONGEST_WAIT_S = 120


def visit(rng: random.Random, place: Path) -> Outcome:
    """Look at a page, most often send one of its forms, and return what was answered."""
    words, answers = ["board"], []
    with open_board(place, book=place / "book.db", deck=place / "deck.csv") as doors:
        visitor = Visitor(doors)
        query = {name: _value(name, rng) for name in rng.sample(_QUERIES, rng.randrange(5))}
        shelf = "shelf" if rng.random() < 0.97 else quote(rng.choice(HOSTILE), errors="replace")
        page = rng.choice(_PAGES)
        path = f"/{shelf}/{page}" if page else "/"
        words += ["GET", path, repr(query)]
        asked = f"{path}?{urlencode(query, errors='replace')}"
        answers.append(visitor.ask("GET", asked, follow=False))
        forms = answers[0].forms
        if forms and rng.random() < 0.8:
            form = rng.choice(forms)
            answers.append(_send(visitor, form, rng, words))
        for thread in threading.enumerate():
            if thread.name == "learning":
                thread.join(_LONGEST_WAIT_S)
    text = "\n".join(answer.text for answer in answers)
    codes = [answer.status for answer in answers]
    return Outcome([*words, str(codes)], max(codes), text, "", 0.0, 0, "board")


def form_breaches(ran: Outcome, before: Snapshot, after: Snapshot) -> list[str]:
    """What a visit did that it must not; empty if nothing."""
    found = []
    if any(int(code) not in _STATUSES for code in re.findall(r"\d+", ran.words[-1])):
        found.append(f"answered {ran.words[-1]}")
    if "Traceback" in ran.out:
        found.append("traceback")
    # What was typed stands in its field again as it was, or saving the form would change it.
    text = re.sub(r'value="[^"]*"', "", ran.out)
    if raw := RAW.search(text):
        found.append(f"a page holds {raw[0]!r}: {text[raw.start() - 80 : raw.end() + 40]!r}")
    found += unsafe(ran.out)
    sent = "POST" in ran.words
    for name in sorted({*before, *after}):
        old, new = before.get(name), after.get(name)
        base = name.rsplit("/", 1)[-1]
        is_folder = old is None and new is not None and new[0] == "other"
        # What a link leads to is written through it.
        written = base in _WRITTEN or base.startswith(("uncertainty-", "real-", "nowhere"))
        if old != new and base != ".fewtone.lock" and not (sent and (written or is_folder)):
            found.append(f"touched: {name}")
    return found


def _send(visitor: Visitor, form: Form, rng: random.Random, words: list[str]) -> Answer:
    """A form with some fields hurt, dropped, doubled, or of no form at all."""
    fields = [(name, value) for name, value in form.fields if name]
    for _ in range(rng.choice((1, 1, 2, 4))):
        if not fields:
            break
        at = rng.randrange(len(fields))
        name, value = fields[at]
        if name == "form_token":
            continue
        drawn = rng.random()
        if drawn < 0.1:
            del fields[at]
        elif drawn < 0.2:
            fields.append((name, _value(name, rng)))
        elif drawn < 0.6 and value:
            fields[at] = (name, hurt_text(value, rng, always=True))
        else:
            fields[at] = (name, _value(name, rng))
    if rng.random() < 0.1:
        fields.append((rng.choice(HOSTILE), rng.choice(HOSTILE)))
    said = urlencode(fields, errors="replace")
    words += [form.method.upper(), form.action, said[:2000]]
    path = urlsplit(form.action).path
    if form.method == "get":
        return visitor.ask("GET", f"{path}?{said}", follow=False)
    return visitor.ask("POST", form.action, body=said, follow=False)


def _value(name: str, rng: random.Random) -> str:
    drawn = rng.random()
    if drawn < 0.2:
        return rng.choice(HOSTILE)
    if drawn < 0.4:
        return rng.choice(NUMBERS)
    if name in ("recipe", "blend"):
        return hurt_text(rng.choice(RECIPES), rng)
    if name == "target":
        return hurt_text(rng.choice(TARGETS), rng)
    if name in OTHERS:
        return hurt_text(rng.choice(OTHERS[name]), rng)
    return rng.choice(("1", "2", "3", "5", "0.5", "40", "lamp", "P001", "yes"))
