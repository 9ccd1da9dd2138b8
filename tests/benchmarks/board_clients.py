"""Many clients ask the board at once: ``python tests/benchmarks/board_clients.py --clients 50``.

Each looks at pages one after another, as often as it is answered, for so many seconds, on the
loopback network alone. It prints how many were answered and how fast, every answer that was no
page, and how the server's memory went: after the first tenth of the time it should stay flat.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import subprocess
import sys
import tempfile
import threading
import time
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlencode, urlsplit

import numpy as np

import fewtone

__all__ = ["Load", "ask_at_once", "main"]

_LINE = "{parts} peony + 1 {other}, {letdown}:1, {coats} coats over {ground}"
_MOST_CLIENTS, _MOST_SECONDS = 200, 300.0


class Load(NamedTuple):
    """What became of it.

    Attributes
    ----------
    answered
        Pages that were answered.
    errors
        What was no page, in words.
    seconds
        How long each took [s], shape ``(answered,)``.
    memory_mb
        The server's resident memory [MB] through the time.
    """

    answered: int
    errors: list[str]
    seconds: list[float]
    memory_mb: list[float]


def ask_at_once(folder: Path, clients: int, seconds: float) -> Load:
    """Open a board on a learnt shelf in a process of its own, and ask it.

    Parameters
    ----------
    folder
        The shelf.
    clients
        How many ask at once, 200 at most.
    seconds
        For how long [s], 300 at most.
    """
    clients, seconds = min(clients, _MOST_CLIENTS), min(seconds, _MOST_SECONDS)
    code = "from fewtone.__main__ import main; main()"
    words = ["board", "--shelf", str(folder), "--port", "0", "--no-browser", "--json"]
    with tempfile.TemporaryDirectory() as book:
        environment = {**os.environ, "FEWTONE_BOOK": str(Path(book) / "jobs.db")}
        with subprocess.Popen(
            [sys.executable, "-c", code, *words], stdout=subprocess.PIPE, env=environment
        ) as server:
            try:
                assert server.stdout is not None
                document = b""
                while not document.rstrip().endswith(b"}"):
                    line = server.stdout.readline()
                    assert line, "the board did not open"
                    document += line
                return _ask(server.pid, json.loads(document)["way_in"], clients, seconds)
            finally:
                server.terminate()


def _ask(pid: int, way_in: str, clients: int, seconds: float) -> Load:
    address = urlsplit(way_in)
    ends = time.monotonic() + seconds
    errors: list[str] = []
    took: list[float] = []

    def client(number: int) -> None:
        rng = random.Random(number)
        connection = HTTPConnection(address.netloc, timeout=60)
        try:
            connection.request("GET", f"{address.path}?{address.query}")
            entered = connection.getresponse()
            entered.read()
            cookie = (entered.getheader("set-cookie") or "").split(";")[0]
            while time.monotonic() < ends:
                began = time.monotonic()
                path = _path(rng)
                connection.request("GET", path, headers={"Cookie": cookie})
                answer = connection.getresponse()
                text = answer.read()
                took.append(time.monotonic() - began)
                if answer.status != 200 or b"</html>" not in text:
                    errors.append(f"{answer.status} {path}")
        except (OSError, HTTPException) as error:
            errors.append(f"{type(error).__name__}: {error}")
        finally:
            connection.close()

    threads = [threading.Thread(target=client, args=(n,), daemon=True) for n in range(clients)]
    for thread in threads:
        thread.start()
    memory = [_memory_mb(pid)]
    while any(thread.is_alive() for thread in threads):
        time.sleep(min(0.5, seconds / 20))
        memory.append(_memory_mb(pid))
    return Load(len(took), errors, took, memory)


def _path(rng: random.Random) -> str:
    """A page that somebody may look at: mostly steps of a recipe, some of all others."""
    line = _LINE.format(
        parts=rng.randint(1, 4),
        other=rng.choice(("poppy", "umber", "ash", "dusk")),
        letdown=rng.choice((4, 5, 6, 8)),
        coats=rng.randint(2, 6),
        ground=rng.choice(("white", "silver", "brass", "graphite")),
    )
    held = urlencode({"recipe": line, "target": "34.1,59.3,12.5"})
    page = rng.choice(
        (
            *(f"recipe?{held}",) * 6,
            f"pour?{held}&volume={rng.randint(2, 9)}00",
            f"ask?L={rng.randint(34, 36)}&a=59&b=12",
            f"compare?{held}&beside=1+peony%2C+6%3A1%2C+4+coats+over+silver",
            f"reach?target={rng.randint(34, 36)},59,12",
            "shelf",
            "book",
            "readings",
        )
    )
    return f"/lamp-bench/{page}"


def _memory_mb(pid: int) -> float:
    """Resident memory of a process [MB]; 0 where the system does not tell."""
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    except (OSError, ValueError):
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def main() -> None:
    """Learn a copy of the demo shelf and ask."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=60.0)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "lamp-bench"
        fewtone.new(folder, demo=True)
        fewtone.learn(folder)
        load = ask_at_once(folder, options.clients, options.seconds)
    print(f"{options.clients} clients, {options.seconds:g} s: {load.answered} pages answered")
    middle, late = np.quantile(load.seconds, (0.5, 0.95))
    print(f"answered within: median {middle:.2f} s, 95 % {late:.2f} s")
    parts = [load.memory_mb[len(load.memory_mb) * part // 10] for part in (1, 3, 5, 7, 9)]
    print(
        f"memory after 1, 3, 5, 7, 9 tenths of the time: {', '.join(f'{mb:.0f}' for mb in parts)} "
        f"MB, at most {max(load.memory_mb):.0f} MB"
    )
    print(f"errors: {len(load.errors)}")
    for error in sorted(set(load.errors))[:10]:
        print(f"  {error}")
    sys.exit(bool(load.errors))


if __name__ == "__main__":
    main()
