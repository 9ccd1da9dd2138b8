"""Who the board answers to, and what its answers let a browser do."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import pytest

from fewtone.board.safety import Doors
from visitor import Visitor, open_board

BASE = "/lamp-bench"
NOTE = "a note that must not be kept"


@pytest.fixture
def job(visitor: Visitor) -> str:
    """A job in the book, to be written to or not."""
    page = visitor.get(
        f"{BASE}/recipe",
        recipe="2 peony + 1 poppy, 8:1, 6 coats over silver",
        target="34.1,59.3,12.5",
    )
    kept = visitor.send(page.form(f"{BASE}/keep"), name="hall lamp")
    assert kept.status == 200
    return "hall lamp"


def test_nobody_gets_a_page_without_a_session(doors: Doors) -> None:
    """Neither a page nor the book; a made-up cookie is none."""
    stranger = Visitor(doors, let_in=False)
    for path in ("/", f"{BASE}/shelf", f"{BASE}/book", f"{BASE}/sheet", "/-/devices"):
        assert stranger.get(path).status == 403
    stranger.cookie = f"{doors.cookie}=made-up"
    assert stranger.get(f"{BASE}/shelf").status == 403
    assert "lamp" not in stranger.get(f"{BASE}/shelf").text.lower().replace("lamp-bench", "")
    wrong = stranger.get("/-/enter", key="made-up")
    assert wrong.status == 403
    assert "set-cookie" not in wrong.headers


def test_a_key_for_the_opened_browser_holds_once(doors: Doors) -> None:
    """Other users of the machine may see it, and must not be able to use it again."""
    path = doors.way_in_once().split(doors.address)[1]
    first, second = Visitor(doors, let_in=False), Visitor(doors, let_in=False)
    assert first.ask("GET", f"/{path}").status == 200
    assert second.ask("GET", f"/{path}", follow=False).status == 403


@pytest.mark.parametrize("host", ["lamps.example", "lamps.example:80", "127.0.0.1", ""])
def test_a_foreign_host_is_refused(host: str, visitor: Visitor) -> None:
    """A name that was made to lead to this machine gets nothing, whatever its cookie says."""
    answer = visitor.ask("GET", f"{BASE}/shelf", headers={"Host": host})
    assert answer.status in (400, 421)
    assert "peony" not in answer.text


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://lamps.example"},
        {"Origin": "null"},
        {"Origin": ""},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_form_of_another_site_is_refused(
    headers: dict[str, str], visitor: Visitor, job: str
) -> None:
    """Even with cookie and form token; nothing is written."""
    form = visitor.get(f"{BASE}/job", job=job).form(f"{BASE}/job", having="note")
    answer = visitor.ask(
        "POST", form.action, body=urlencode(form.filled(note=NOTE)), headers=headers
    )
    assert answer.status == 403
    assert NOTE not in visitor.get(f"{BASE}/job", job=job).text


@pytest.mark.parametrize("token", ["", "made-up", None])
def test_a_form_without_its_token_is_refused(
    token: str | None, visitor: Visitor, job: str, doors: Doors
) -> None:
    """A missing one, a made-up one, and that of another session."""
    page = visitor.get(f"{BASE}/job", job=job)
    form = page.form(f"{BASE}/job", having="note")
    if token is None:
        other = Visitor(doors).get(f"{BASE}/job", job=job).form(f"{BASE}/job", having="note")
        token = dict(other.fields)["form_token"]
    answer = visitor.send(form, note=NOTE, form_token=token)
    assert answer.status == 403
    assert NOTE not in visitor.get(f"{BASE}/job", job=job).text


def test_every_form_that_changes_something_has_a_token(visitor: Visitor, job: str) -> None:
    """On every page; and what only looks changes nothing, so it may be asked with GET."""
    found = 0
    line, target = "2 peony + 1 poppy, 8:1, 6 coats over silver", "34.1,59.3,12.5"
    for path, query in (
        ("/", {"all": "yes"}),
        (f"{BASE}/shelf", {}),
        (f"{BASE}/rows", {"panel": "P014"}),
        (f"{BASE}/take", {}),
        (f"{BASE}/recipe", {"recipe": line, "target": target}),
        (f"{BASE}/pour", {"job": job, "volume": "600"}),
        (f"{BASE}/panel", {"job": job, "L1": "37", "a1": "56", "b1": "11"}),
        (f"{BASE}/job", {"job": job}),
    ):
        page = visitor.get(path, **query)
        posts = [form for form in page.forms if form.method == "post"]
        assert posts, path
        for form in posts:
            assert len(dict(form.fields)["form_token"]) > 20
        found += len(posts)
    assert found >= 10


def test_pages_run_no_script_but_the_boards_own(visitor: Visitor, job: str) -> None:
    """The policy is strict, and no page has a script, a style or a handler within itself."""
    line = "2 peony + 1 poppy, 8:1, 6 coats over silver"
    for page in (
        visitor.get("/", all="yes"),
        visitor.get(f"{BASE}/shelf"),
        visitor.get(f"{BASE}/ask", L="34.1", a="59.3", b="12.5"),
        visitor.get(f"{BASE}/recipe", recipe=line, target="34.1,59.3,12.5"),
        visitor.get(f"{BASE}/pour", job=job, volume="600"),
        visitor.get(f"{BASE}/book"),
        visitor.get(f"{BASE}/take"),
        visitor.get(f"{BASE}/bottle", recipe="1 peony, 6:1, 3 coats over white"),
        visitor.get(f"{BASE}/compare", recipe=line, beside="1 peony, 6:1, 3 coats over white"),
        visitor.get(f"{BASE}/reach", target="34.1,59.3,12.5"),
        visitor.get(f"{BASE}/nothing"),
    ):
        policy = page.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'; style-src 'self'; script-src 'self'")
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert page.headers["x-content-type-options"] == "nosniff"
        assert page.headers["cache-control"] == "no-store"
        assert re.findall(r"<script[^>]*>", page.text) in (
            ['<script src="/-/board.js" defer>'],
            [],
        )
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:", page.text)
        assert not re.search(r"(?:src|href|action)=\"(?:https?:)?//", page.text)


def test_printed_pages_let_their_own_style_through_and_nothing_else(visitor: Visitor) -> None:
    """The sheet and the label carry their style, whose hash stands in the policy; no script."""
    line = "2 peony + 1 poppy, 8:1, 6 coats over silver"
    for name in ("sheet", "label"):
        page = visitor.get(f"{BASE}/{name}", recipe=line)
        policy = page.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'; style-src 'sha256-")
        assert "script-src" not in policy
        assert "unsafe" not in policy
        assert not re.search(r"\sstyle=|<script", page.text)


@pytest.mark.parametrize(
    "path",
    [
        "/-/../board.css",
        "/-/..%2f..%2fapp.py",
        "/../../../etc/passwd",
        "/..%2f..%2fetc/shelf",
        "/lamp-bench/../lamp-bench/shelf.toml",
        "/lamp-bench/curves.csv",
        "/%2e%2e/shelf",
        "/lamp-bench%2f..%2flamp-bench/shelf",
        "//lamps.example/shelf",
    ],
)
def test_no_path_reaches_the_file_system(path: str, visitor: Visitor) -> None:
    """What is no page is nothing, whatever stands there on the disk."""
    answer = visitor.ask("GET", path, follow=False)
    assert answer.status == 404
    assert "root:" not in answer.text


def test_a_shelf_is_made_in_a_folder_of_plain_letters(visitor: Visitor, home: Path) -> None:
    """A name that is a path makes no path."""
    form = visitor.get("/", all="yes").form("/", having="toners")
    before = {path.name for path in home.parent.rglob("*")}
    answer = visitor.send(form, name="../../Out there/x", toners="Ruby, Sky")
    assert answer.status == 200
    new = {path.name for path in home.parent.rglob("*")} - before
    assert "out-there-x" in new
    assert (home / "out-there-x" / "shelf.toml").exists()
    assert visitor.send(form, name="../..", toners="Ruby", once="other").status == 400


def test_odd_requests_are_refused(visitor: Visitor, job: str) -> None:
    """Other methods, other kinds of form, very large ones, very many fields."""
    form = visitor.get(f"{BASE}/job", job=job).form(f"{BASE}/job", having="note")
    token = dict(form.fields)["form_token"]
    assert visitor.ask("PUT", f"{BASE}/job", body="").status == 405
    assert visitor.ask("DELETE", f"{BASE}/job").status == 405
    assert visitor.ask("POST", f"{BASE}/shelf", body=f"form_token={token}").status == 405
    kind = {"Content-Type": "application/json"}
    assert visitor.ask("POST", f"{BASE}/job", body="{}", headers=kind).status == 415
    large = f"form_token={token}&note={'x' * 2_100_000}"
    assert visitor.ask("POST", f"{BASE}/job", body=large).status == 413
    many = f"form_token={token}" + "&a=1" * 20_001
    assert visitor.ask("POST", f"{BASE}/job", body=many).status == 413
    assert visitor.get(f"{BASE}/shelf").status == 200


@pytest.fixture
def outside(home: Path, book: Path) -> Iterator[Doors]:
    """A board that other devices may come to, at another address of the loopback network."""
    with open_board(home, book=book, lan="127.0.0.2") as opened:
        yield opened


def test_another_device_comes_in_with_a_code_once(outside: Doors) -> None:
    """The code is shown on this machine alone, and lets one device in, which lets in no other."""
    here = Visitor(outside)
    page = here.get("/-/devices")
    assert page.status == 200
    assert "can read along" in page.words
    assert 'src="data:image/svg+xml' in page.text
    code = outside.code
    assert code is not None
    assert f"{code[:5]}-{code[5:]}" in page.words
    device, second = Visitor(outside, let_in=False), Visitor(outside, let_in=False)
    assert outside.lan_address is not None
    device.host = second.host = outside.lan_address.split("/")[2]
    assert device.get("/").status == 403
    assert device.get("/-/enter", key=f"{code[:5].upper()}-{code[5:]}").status == 200
    assert second.ask("GET", f"/-/enter?key={code}", follow=False).status == 403
    assert device.get("/-/devices").status == 404
    assert "used" in here.get("/-/devices").words
    fresh = here.send(here.get("/-/devices").form("/-/devices"))
    assert fresh.status == 200
    assert outside.code not in (None, code)


def test_a_code_is_void_after_wrong_ones(outside: Doors) -> None:
    """Guessing ends it."""
    device = Visitor(outside, let_in=False)
    code = outside.code
    for number in range(10):
        assert device.get("/-/enter", key=f"wrong-{number}").status == 403
    assert outside.code is None
    assert device.get("/-/enter", key=str(code)).status == 403


def test_without_asking_no_other_address_is_served(doors: Doors) -> None:
    """The socket is bound to the loopback address alone, and nobody is offered a code."""
    assert doors.lan_address is None
    assert doors.code is None
    assert Visitor(doors).get("/-/devices").status == 404
    stranger = Visitor(doors, let_in=False)
    stranger.host = stranger.host.replace("127.0.0.1", "127.0.0.2")
    with pytest.raises(OSError, match=r"refused|unreachable"):
        stranger.get("/")


def test_another_origin_gets_no_leave_to_read(visitor: Visitor) -> None:
    """No page says that other origins may read it."""
    answer = visitor.ask("GET", f"{BASE}/shelf", headers={"Origin": "http://lamps.example"})
    assert not [name for name in answer.headers if name.startswith("access-control")]
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"


def test_the_cookie_is_kept_from_scripts_and_other_sites(doors: Doors) -> None:
    """HttpOnly and SameSite=Strict."""
    answer = Visitor(doors, let_in=False).ask(
        "GET", "/" + doors.way_in.split(doors.address)[1], follow=False
    )
    assert "httponly" in answer.headers["set-cookie"].lower()
    assert "samesite=strict" in answer.headers["set-cookie"].lower()


@pytest.mark.parametrize("name", ["/etc/passwd", "reading.csv", "toners/lamp-bench/readings.csv"])
def test_a_target_is_never_a_file(
    name: str, visitor: Visitor, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The command line takes a reading's path for a target; no page does, on no way in."""
    monkeypatch.chdir(home.parent)
    (home.parent / "reading.csv").write_text("L,a,b\n34.1,59.3,12.5\n")
    line = "2 peony + 1 poppy, 8:1, 6 coats over silver"
    for path, query in (
        ("ask", {"target": name}),
        ("ask", {"swatch": name}),
        ("ask", {"hex": name}),
        ("ask", {"near": name}),
        ("ask", {"L": "34", "a": "59", "b": "12", "L2": name, "a2": name, "b2": name}),
        ("recipe", {"recipe": line, "target": name}),
        ("panel", {"recipe": line, "target": name}),
        ("pour", {"recipe": line, "target": name, "volume": "600"}),
        ("sheet", {"recipe": line, "target": name}),
        ("reach", {"target": name}),
        ("compare", {"recipe": line, "target": name, "beside": "1 peony, 6:1, 3 coats over white"}),
        ("compare", {"recipe": line, "beside": name}),
        ("bottle", {"recipe": name, "L1": "34", "a1": "59", "b1": "12"}),
        ("recipe", {"recipe": name}),
        ("book", {"like": name}),
    ):
        answer = visitor.get(f"{BASE}/{path}", **query)
        assert answer.status == 400, (path, query)
        assert "root:" not in answer.text
        assert not answer.figures("de00")


def test_a_shelf_that_cannot_be_read_is_a_page_that_says_so(visitor: Visitor, home: Path) -> None:
    """Its name, which stands at the top of its pages, cannot be read either."""
    (home / "lamp-bench" / "shelf.toml").write_text("format = ", encoding="utf-8")
    for page in ("shelf", "recipe", "book"):
        answer = visitor.get(f"{BASE}/{page}")
        assert answer.status == 409
        assert "shelf.toml" in answer.words


def test_what_is_typed_cannot_turn_a_message_round(visitor: Visitor) -> None:
    """Controls are written out, as in a terminal."""
    answer = visitor.get(f"{BASE}/panel", recipe="", target="\u202e12\x1b[31m")
    assert answer.status == 400
    assert "\\u202e12\\x1b[31m" in answer.words
    assert not {"\u202e", "\x1b"} & set(answer.words)
