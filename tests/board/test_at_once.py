"""Several at once: nothing is refused, nothing is lost."""

from __future__ import annotations

import runpy
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from fewtone.board.safety import Doors
from fewtone.jobs import Book
from visitor import Visitor

SCRIPT = Path(__file__).parents[1] / "benchmarks" / "board_clients.py"
BASE = "/lamp-bench"


def test_many_clients_are_all_answered(home: Path) -> None:
    """Twelve for three seconds; the script itself asks with fifty for a minute."""
    load = runpy.run_path(str(SCRIPT))["ask_at_once"](home / "lamp-bench", 12, 3.0)
    assert load.errors == []
    assert load.answered >= 12
    assert max(load.memory_mb) < 1000


def test_two_writers_lose_nothing(doors: Doors, book: Path) -> None:
    """Notes that come in at the same time all stand in the job."""
    first = Visitor(doors)
    page = first.get(
        f"{BASE}/recipe",
        recipe="2 peony + 1 poppy, 8:1, 6 coats over silver",
        target="34.1,59.3,12.5",
    )
    first.send(page.form(f"{BASE}/keep"), name="hall lamp")

    def write(number: int) -> int:
        visitor = Visitor(doors)
        form = visitor.get(f"{BASE}/job", job="hall lamp").form(f"{BASE}/job", having="note")
        return visitor.send(form, note=f"note {number}").status

    with ThreadPoolExecutor(8) as pool:
        assert set(pool.map(write, range(16))) == {200}
    notes = [e.data["text"] for e in Book(book).job("hall lamp").entries if e.kind == "note"]
    assert sorted(notes) == sorted(f"note {number}" for number in range(16))
