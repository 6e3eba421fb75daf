"""Who is answered and who is not, what is written and what is not, and how it starts and stops."""

from __future__ import annotations

import http.client
import os
import shutil
import signal
import socket
import stat
import subprocess
import sys
import time
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from serving import CASES, CIRCUITS, serve

from rework.cli import main
from rework.page import access


def test_the_page_is_found_with_its_cookie_only(pager):
    path = urlsplit(pager.address).path
    assert len(path) >= 30
    assert pager.ask("/")[0] == 200
    for asked in (
        "/",
        "/index.html",
        "/pieces",
        "/plain",
        "/app.js",
        path[:-2] + ("y/" if path[-2] == "x" else "x/"),
        "/x" + path,
    ):
        assert pager.ask(asked, cookie=False)[0] == 404, asked


def test_the_address_gives_a_strict_cookie_and_goes_on_to_one_without_the_token(pager):
    status, headers, body = pager.ask(urlsplit(pager.address).path, cookie=False)
    assert status == 200
    assert headers["set-cookie"].startswith(pager.cookie + ";")
    assert "HttpOnly" in headers["set-cookie"]
    assert "SameSite=Strict" in headers["set-cookie"]
    assert b"url=/" in body
    assert urlsplit(pager.address).path.strip("/").encode() not in body


@pytest.mark.parametrize(
    "trick",
    [
        "../../../etc/passwd",
        "..%2f..%2fetc%2fpasswd",
        "%2e%2e/server.py",
        "....//server.py",
        "..\\server.py",
        "static/app.js",
        "/etc/passwd",
        "app.js%00.css",
        "server.py",
        "plain.html",
        "step/../app.js",
        "step/-1",
        "said/faults",
        "said/..",
        "drawing/after.png",
        "drawing/after.svg?sheet=../x",
        "table/volts.after/..%2f.csv",
        "way?circuit=after&node=X&row=x",
    ],
)
def test_tricks_with_the_path_find_nothing(pager, trick):
    status, _, body = pager.ask("/" + trick)
    assert status == 404
    assert b"root:" not in body
    assert b"import" not in body


@pytest.mark.parametrize(
    "asked",
    ["step/999", "ties?circuit=../x", "ties?circuit=step 99", "way?circuit=after&node=X&row=9,9"],
)
def test_what_the_job_no_longer_has_is_answered_with_nothing(pager, asked):
    status, _, body = pager.ask("/" + asked.replace(" ", "%20"))
    assert (status, body) == (200, b"null")


@pytest.mark.parametrize("asked", ["/favicon.ico", "/mark.svg"])
def test_a_browser_that_looks_for_an_icon_finds_the_mark(pager, asked):
    assert pager.ask(asked)[0] == 200
    assert pager.ask(asked, cookie=False)[0] == 404


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "127.0.0.1.evil.example:80", " "]
)
def test_another_host_name_is_refused(pager, host):
    status, _, body = pager.ask("/", host=host)
    assert status in (400, 421)
    assert b"<html" not in body
    assert pager.ask("/", host=f"localhost:{urlsplit(pager.address).port}")[0] == 200


def test_every_answer_forbids_outside_sources_and_keeping(pager):
    for asked in ("/", "/app.js", "/plain", "/nothing"):
        headers = pager.ask(asked)[1]
        assert headers["cache-control"] == "no-store"
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "trusted-types 'none'" in headers["content-security-policy"]
        assert "http" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"


def send(served, path, body, **headers):
    """Return status and answer of what the page itself would send."""
    usual = {"origin": served.origin.rstrip("/"), "content_type": "application/json"}
    status, _, data = served.ask(path, method="POST", body=body, **{**usual, **headers})
    return status, data.decode()


def digest(served, name="pager.job"):
    from rework.papers.record import digest

    file = served.folder / name
    return digest(file.read_bytes()) if file.exists() else ""


def test_only_the_page_itself_writes(pager):
    for path in ("/", "/pieces", "/app.js", "/step/1"):
        for method in ("POST", "PUT", "DELETE"):
            assert pager.ask(path, method=method)[0] == 405
    reading = {"seen": digest(pager), "at": "V3.5", "value": "188 V"}
    for headers in (
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": f"http://127.0.0.1:{urlsplit(pager.address).port + 1}"},
        {"sec_fetch_site": "cross-site"},
        {"content_type": "text/plain"},
        {"content_type": "application/x-www-form-urlencoded"},
    ):
        assert send(pager, "/reading", reading, **headers)[0] == 403
    assert pager.ask("/reading", method="POST", cookie=False, body=reading)[0] == 404
    assert send(pager, "/reading", ["x"])[0] == 400
    assert send(pager, "/reading", {**reading, "value": "1" * 30_000})[0] == 413
    assert pager.folder.joinpath("pager.job").read_bytes() == pager.kept["pager.job"]


def test_a_reading_is_written_into_the_job_changed_and_taken_out(pager):
    job = pager.folder / "pager.job"
    before = job.read_text(encoding="utf-8")
    assert (
        send(pager, "/reading", {"seen": digest(pager), "at": "V3.5", "value": "188 V"})[0] == 200
    )
    assert job.read_text(encoding="utf-8") == before + "\nreading V3.5 188 V\n"
    more = {"seen": digest(pager), "at": "B2", "value": "187 V", "remark": "at night"}
    assert send(pager, "/reading", more)[0] == 200
    assert (
        send(pager, "/reading", {"seen": digest(pager), "at": "V3.5", "value": "190 V"})[0] == 200
    )
    assert job.read_text(encoding="utf-8").endswith(
        '\nreading V3.5 190 V\nreading B2 187 V "at night"\n'
    )
    assert send(pager, "/reading", {"seen": digest(pager), "at": "V3.5", "value": ""})[0] == 200
    assert "V3.5" not in job.read_text(encoding="utf-8")


def test_nothing_is_written_over_an_edit_made_meanwhile(pager):
    seen = digest(pager)
    pager.write("pager.job", "labour 8 h", "labour 9 h")
    edited = (pager.folder / "pager.job").read_bytes()
    status, told = send(pager, "/reading", {"seen": seen, "at": "V3.5", "value": "188 V"})
    assert status == 409
    assert "pager.job was edited in the meantime. Nothing was written." in told
    assert (pager.folder / "pager.job").read_bytes() == edited


@pytest.mark.parametrize("value", ["188 parsecs", "a lot", "188 V\nlabour 1 h", '188 V "x'])
def test_what_is_no_reading_is_refused_with_its_reason(pager, value):
    status, told = send(pager, "/reading", {"seen": digest(pager), "at": "V3.5", "value": value})
    assert status == 409
    assert "reading" in told
    assert (pager.folder / "pager.job").read_bytes() == pager.kept["pager.job"]


def test_ticks_and_results_go_into_a_record_beside_the_job(pager):
    import tomllib

    record = pager.folder / "pager.record.toml"
    step = {"kind": "work", "what": 'Cut "K1"', "ticked": True}
    assert send(pager, "/entry", {**step, "seen": ""})[0] == 200
    test = {"kind": "test", "what": "Earth continuity", "result": "0.04 ohm", "verdict": "pass"}
    assert send(pager, "/entry", {**test, "seen": "", "ticked": True})[0] == 409
    seen = digest(pager, record.name)
    assert send(pager, "/entry", {**test, "seen": seen, "ticked": True})[0] == 200
    rows = tomllib.loads(record.read_text(encoding="utf-8"))["entry"]
    assert [(row["kind"], row["what"]) for row in rows] == [
        ("work", 'Cut "K1"'),
        ("test", "Earth continuity"),
    ]
    assert rows[1]["verdict"] == "pass"
    assert rows[1]["at"]
    again = {**step, "seen": digest(pager, record.name), "ticked": False}
    assert send(pager, "/entry", again)[0] == 200
    assert len(tomllib.loads(record.read_text(encoding="utf-8"))["entry"]) == 1
    record.write_text("my notes", encoding="utf-8")
    mine = {**step, "seen": digest(pager, record.name)}
    status, told = send(pager, "/entry", mine)
    assert status == 409
    assert "is not a record" in told
    assert record.read_text(encoding="utf-8") == "my notes"


def test_drawings_and_tables_are_files_to_keep(pager):
    deadline = time.monotonic() + 60
    for there in ("/drawing/after.svg?sheet=", "/table/lists/wires.csv"):
        while pager.ask(there)[0] == 404 and time.monotonic() < deadline:
            time.sleep(0.2)
    status, headers, svg = pager.ask("/drawing/after.svg?sheet=SUPPLY")
    assert status == 200
    assert svg.startswith(b"<svg")
    assert headers["content-disposition"] == 'attachment; filename="pager-after-SUPPLY.svg"'
    status, headers, pdf = pager.ask("/drawing/before.pdf")
    assert pdf.startswith(b"%PDF")
    assert pager.ask("/drawing/sockets.svg")[2].startswith(b"<svg")
    status, headers, csv = pager.ask("/table/lists/wires.csv")
    assert status == 200
    assert headers["content-disposition"] == 'attachment; filename="pager-lists-wires.csv"'
    assert csv.splitlines()[0] == b"name,colour,gauge,make,from,to"


def test_it_listens_on_this_machine_alone(pager):
    port = urlsplit(pager.address).port
    try:
        named = {
            entry[4][0] for entry in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        }
    except socket.gaierror:
        named = set()
    # What listens at every address of a machine answers at each of its own, of which there are many.
    for other in {*named, "127.0.0.2"} - {"127.0.0.1"}:
        with pytest.raises(OSError):
            socket.create_connection((other, port), timeout=1)


def test_the_token_is_private_and_on_no_command_line(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    job = tmp_path / "a.job"
    first = access.kept_pass(job)
    assert access.kept_pass(job).token != first.token
    access.keep(job, access.PagePass(first.token, 4711))
    assert access.kept_pass(job) == access.PagePass(first.token, 4711)
    assert access.kept_pass(tmp_path / "b.job").token != first.token
    door = access.entrance(job, f"http://127.0.0.1:4711/{first.token}/")
    assert door.startswith("file:///")
    assert first.token not in door
    files = list((tmp_path / "state" / "rework" / "view").iterdir())
    assert len(files) == 2
    for file in files:
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert stat.S_IMODE(files[0].parent.stat().st_mode) == 0o700
    kept = next(file for file in files if file.suffix == ".json")
    os.chmod(kept, 0o644)
    assert access.kept_pass(job).token != first.token, "a file that others read is not trusted"


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_it_stops_cleanly_with_a_browser_listening_and_comes_back_at_its_address(tmp_path, number):
    for name in ("stub.circuit", "stub.job"):
        shutil.copy(CASES / name, tmp_path)
    one = serve(tmp_path, "stub.job")
    at = urlsplit(one.address)
    line = http.client.HTTPConnection(at.hostname, at.port, timeout=5)
    line.request("GET", "/pieces", headers={"Cookie": one.cookie})
    assert line.getresponse().read(20)
    status, told = one.stop(number)
    assert status == 0
    assert "The page is closed." in told
    assert "Traceback" not in told
    with pytest.raises(OSError):
        socket.create_connection((at.hostname, at.port), timeout=1)
    again = serve(tmp_path, "stub.job")
    assert again.address == one.address
    assert again.ask("/")[0] == 200
    again.stop()


def test_it_stops_at_once_though_a_large_job_is_still_being_read(tmp_path):
    rows = [
        'circuit "ladder"',
        "mains 117 V 60 Hz",
        "P1 plug two-blade : line=N0, neutral=X",
        *(f"R{n} resistor 1k : N{n - 1} -- N{n}" for n in range(1, 4000)),
        "R4000 resistor 1k : N3999 -- X",
    ]
    (tmp_path / "ladder.circuit").write_text("\n".join(rows) + "\n")
    (tmp_path / "pager.job").write_text('circuit "ladder.circuit"\n')
    # To read and to draw it takes much longer than this.
    assert serve(tmp_path).stop(within=10.0)[0] == 0


def test_a_job_with_mistakes_is_served_so_that_they_are_seen_while_mended(tmp_path):
    (tmp_path / "pager.job").write_text('circuit "none.circuit"\n')
    one = serve(tmp_path)
    assert one.ask("/")[0] == 200
    deadline = time.monotonic() + 60
    while b"none.circuit" not in one.ask("/plain")[2]:
        assert time.monotonic() < deadline
        time.sleep(0.2)
    assert one.stop()[0] == 0


@pytest.mark.parametrize(
    "words",
    [
        ["none.job"],
        [str(CIRCUITS / "pager" / "pager.circuit")],
        [str(CIRCUITS / "pager" / "pager.job"), "--port", "99999"],
    ],
)
def test_what_cannot_be_served_is_refused_in_words(words, capsys):
    assert main(["view", *words, "--no-open"]) == 2
    assert "nothing was done" in capsys.readouterr().err


def test_a_taken_port_is_told(capsys):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert (
            main(["view", str(CIRCUITS / "pager" / "pager.job"), "--port", str(port), "--no-open"])
            == 2
        )
    assert f"port {port} cannot be had" in capsys.readouterr().err


def test_the_server_is_loaded_by_view_alone():
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            (
                "import rework.cli, rework.commands.check, sys; rework.cli.parser(); print('"
                " '.join(sys.modules))"
            ),
        ],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[2],
    )
    assert {"starlette", "uvicorn", "watchfiles"}.isdisjoint(done.stdout.split())


def test_what_a_command_says_is_a_piece_with_tables_that_are_files(pager):
    deadline = time.monotonic() + 60
    while pager.ask("/said/summary")[2] == b"null" and time.monotonic() < deadline:
        time.sleep(0.2)
    status, headers, body = pager.ask("/table/said.summary/summary.csv")
    assert status == 200
    assert headers["content-type"].startswith("text/csv")
    assert body.decode().splitlines()[0] == ",before,after,more: rework"
    assert "mains" in body.decode()
