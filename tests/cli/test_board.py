"""`fewtone board` as a user types it."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from cli.conftest import Run


def test_it_says_what_to_install(run: Run, monkeypatch: pytest.MonkeyPatch, demo: Path) -> None:
    """Without the extra's packages it does not start, and says so in one line."""
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    ran = run("board", "--shelf", demo)
    assert ran.code == 1
    assert "pip install 'fewtone[board]'" in ran.err


def test_the_package_does_not_need_it() -> None:
    """Neither the library nor the command line imports a server."""
    code = (
        "import sys, fewtone.cli.main, fewtone.api, fewtone.shelf;"
        "print([m for m in ('starlette', 'uvicorn', 'segno') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_port_that_is_taken_is_told(run: Run, demo: Path) -> None:
    """Where it was named; the usual one gives way to a free one."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        ran = run("board", "--shelf", demo, "--port", port, "--no-browser")
    assert ran.code == 2
    assert f"port {port}" in ran.err
    assert "Name another --port" in ran.err


def test_an_address_needs_other_devices(run: Run, demo: Path) -> None:
    """--address alone is told."""
    ran = run("board", "--shelf", demo, "--address", "127.0.0.2")
    assert ran.code == 2
    assert "--lan" in ran.err


def test_it_serves_until_it_is_interrupted(demo: Path) -> None:
    """As a process: one JSON document says the way in, Ctrl+C ends it in peace."""
    code = "from fewtone.__main__ import main; main()"
    words = ("board", "--shelf", str(demo), "--port", "0", "--no-browser", "--json", "--lan")
    with subprocess.Popen(
        [sys.executable, "-c", code, *words, "--address", "127.0.0.2"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        text = ""
        while not text.rstrip().endswith("}"):
            line = process.stdout.readline()
            assert line, process.stderr.read()
            text += line
        told = json.loads(text)
        assert told["address"].startswith("http://127.0.0.1:")
        assert told["lan_way_in"].startswith("http://127.0.0.2:")
        style = told["address"] + "-/board.css"
        for _ in range(50):
            try:
                with urllib.request.urlopen(style, timeout=5) as got:
                    assert got.status == 200
                break
            except urllib.error.URLError:
                time.sleep(0.1)
        with pytest.raises(urllib.error.HTTPError, match="403") as refused:
            urllib.request.urlopen(told["address"], timeout=5)
        refused.value.close()
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=15)
    assert process.returncode == 0
    assert out == ""
    assert "nothing is encrypted" in err
    assert "Traceback" not in err
