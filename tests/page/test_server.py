"""Who is answered and who is not, and how it starts and stops."""

from __future__ import annotations

import http.client
import shutil
import signal
import socket
import subprocess
import sys
import time
from urllib.parse import urlsplit

import pytest
from serving import CIRCUITS, serve

from rework.cli import main


@pytest.fixture(scope="module")
def still(tmp_path_factory):
    """Return one served job for every test that only asks."""
    folder = tmp_path_factory.mktemp("still") / "pager"
    shutil.copytree(CIRCUITS / "pager", folder)
    one = serve(folder)
    yield one
    one.stop()


def answer(served, path, *, host=None, method="GET"):
    at = urlsplit(served.address)
    line = http.client.HTTPConnection(at.hostname, at.port, timeout=5)
    line.putrequest(method, path, skip_host=True)
    line.putheader("Host", host or at.netloc)
    line.endheaders()
    got = line.getresponse()
    return got.status, got.headers, got.read()


def test_the_page_is_found_under_its_own_path_only(still):
    token = urlsplit(still.address).path
    assert len(token) >= 30
    assert answer(still, token)[0] == 200
    for path in ("/", "/index.html", "/pieces", token[:-2] + "x/", "/x" + token):
        assert answer(still, path)[0] == 404


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
        "step/../app.js",
        "step/999",
        "step/-1",
        "way?circuit=after&node=X&row=9,9",
        "ties?circuit=../x",
    ],
)
def test_tricks_with_the_path_find_nothing(still, trick):
    status, _, body = answer(still, urlsplit(still.address).path + trick)
    assert status == 404
    assert b"root:" not in body
    assert b"import" not in body


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "127.0.0.1.evil.example:80", ""]
)
def test_another_host_name_is_refused(still, host):
    at = urlsplit(still.address)
    status, _, body = answer(still, at.path, host=host or " ")
    assert status in (400, 421)
    assert b"<html" not in body
    assert answer(still, at.path, host=f"localhost:{at.port}")[0] == 200


def test_every_answer_forbids_outside_sources_and_keeping(still):
    path = urlsplit(still.address).path
    for asked in (path, path + "app.js", path + "nothing"):
        headers = answer(still, asked)[1]
        assert headers["cache-control"] == "no-store"
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "http" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"


def test_only_reading_is_answered(still):
    for method in ("POST", "PUT", "DELETE"):
        assert answer(still, urlsplit(still.address).path, method=method)[0] == 405


def test_it_listens_on_this_machine_alone(still):
    port = urlsplit(still.address).port
    own = next(
        (
            entry[4][0]
            for entry in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
            if not entry[4][0].startswith("127.")
        ),
        None,
    )
    if own is None:
        pytest.skip("this machine has no other address")
    with pytest.raises(OSError):
        socket.create_connection((own, port), timeout=1)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_it_stops_cleanly_with_a_browser_still_listening(pager, number):
    at = urlsplit(pager.address)
    line = http.client.HTTPConnection(at.hostname, at.port, timeout=5)
    line.request("GET", at.path + "pieces")
    assert line.getresponse().read(20)
    status, told = pager.stop(number)
    assert status == 0
    assert "The page is closed." in told
    assert "Traceback" not in told
    with pytest.raises(OSError):
        socket.create_connection((at.hostname, at.port), timeout=1)


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
    one = serve(tmp_path)
    started = time.perf_counter()
    assert one.stop()[0] == 0
    assert time.perf_counter() - started < 5


def test_each_start_has_a_path_of_its_own(still, tmp_path):
    shutil.copytree(CIRCUITS / "pager", tmp_path / "again")
    other = serve(tmp_path / "again")
    assert urlsplit(other.address).path != urlsplit(still.address).path
    other.stop()


def test_a_job_with_mistakes_is_served_so_that_they_are_seen_while_mended(tmp_path):
    (tmp_path / "pager.job").write_text('circuit "none.circuit"\n')
    one = serve(tmp_path)
    assert answer(one, urlsplit(one.address).path)[0] == 200
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
    )
    assert {"starlette", "uvicorn", "watchfiles"}.isdisjoint(done.stdout.split())
