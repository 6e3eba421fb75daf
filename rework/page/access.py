"""Who may read the page: a browser that was let in by the token of the job.

The token is random and kept in a private file of the user, one a job, so that a page that is
started again finds its open tabs. It is never on a command line: a browser is given a private file
that leads to the address with the token; that answers with a cookie (HttpOnly, SameSite strict) and
goes on to an address without it. What writes must come from the page itself.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

_HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src"
        " 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none';"
        " require-trusted-types-for 'script'; trusted-types 'none'"
    ),
    "cache-control": "no-store",
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
#: Bytes of randomness in a token.
_RANDOM = 24


@dataclass(frozen=True)
class PagePass:
    """The token of a job's page, and the port it was last served at (0: none yet)."""

    token: str
    port: int = 0


def private_folder() -> Path:
    """Return the folder of this program's state for this user (XDG Base Directory Specification:
    ``$XDG_STATE_HOME``, else ``~/.local/state``).
    """
    state = os.environ.get("XDG_STATE_HOME", "")
    home = Path(state) if state.startswith("/") else Path.home() / ".local" / "state"
    return home / "rework" / "view"


def kept_pass(job: Path) -> PagePass:
    """Return the pass of a job: the one kept, else a new one. A file that others can read is not
    trusted.
    """
    path = _file_of(job, ".json")
    with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
        if os.name == "posix" and (
            path.stat().st_mode & 0o077 or path.stat().st_uid != os.getuid()
        ):
            raise OSError(f"{path} is not private")
        kept = json.loads(path.read_text(encoding="utf-8"))
        if len(str(kept["token"])) >= _RANDOM:
            return PagePass(str(kept["token"]), int(kept["port"]))
    return PagePass(secrets.token_urlsafe(_RANDOM))


def keep(job: Path, kept: PagePass) -> None:
    """Keep the pass of a job for the next start; where no file can be written, it is for this one
    alone.
    """
    with contextlib.suppress(OSError):
        _write_private(_file_of(job, ".json"), json.dumps({"token": kept.token, "port": kept.port}))


def entrance(job: Path, address: str) -> str:
    """Return what a browser is started with: a private file that leads to the address; the address
    itself, without its token, where none can be written.
    """
    path = _file_of(job, ".html")
    try:
        _write_private(path, _onward(address))
    except OSError:
        return address.rpartition("/")[0].rpartition("/")[0] + "/"
    return path.as_uri()


def _file_of(job: Path, suffix: str) -> Path:
    name = hashlib.sha256(str(job.resolve()).encode()).hexdigest()[:24]
    return private_folder() / f"{name}{suffix}"


def _write_private(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    draft = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as stream:
        stream.write(text)
    os.replace(draft, path)


def _onward(address: str) -> str:
    """Return a page that goes on to an address by itself."""
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="refresh" content="0; url={escape(address, quote=True)}">'
        f'<title>rework view</title></head><body><p><a href="{escape(address, quote=True)}">To the'
        " page</a></p></body></html>\n"
    )


def admitted(request: Request, token: str) -> bool:
    """Return whether a browser has the cookie of the page."""
    given = request.cookies.get(_cookie(request), "")
    return secrets.compare_digest(given.encode(), token.encode())


def admission() -> str:
    """Return the page that a browser gets with its cookie. It goes on by a step of its own: a
    strict cookie is not sent along with a redirection that began on another site.
    """
    return _onward("/")


def cookie_header(request: Request, token: str) -> dict[str, str]:
    """Return the header that gives a browser its cookie."""
    return {"set-cookie": f"{_cookie(request)}={token}; Path=/; HttpOnly; SameSite=Strict"}


def _cookie(request: Request) -> str:
    """Return the name of the cookie: cookies are shared by all ports of a host."""
    return f"rework-{request.url.port}"


def writes_from_the_page(request: Request) -> bool:
    """Return whether a request that writes was made by the page itself."""
    origin = request.headers.get("origin", "")
    site = request.headers.get("sec-fetch-site", "same-origin")
    return (
        origin == f"http://{request.headers.get('host', '')}"
        and site == "same-origin"
        and request.headers.get("content-type", "").startswith("application/json")
    )


def guarded(app: ASGIApp, port: int) -> ASGIApp:
    """Return the application behind a guard: it answers to the names of this machine only, and says
    in every answer what may be loaded.
    """
    names = {f"127.0.0.1:{port}".encode(), f"localhost:{port}".encode()}
    headers = [(name.encode(), value.encode()) for name, value in _HEADERS.items()]

    async def answer(scope: Scope, receive: Receive, send: Send) -> None:
        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message.get("headers", ()), *headers]}
            await send(message)

        if scope["type"] != "http" or _hosts(scope) not in ([name] for name in names):
            await with_headers(
                {
                    "type": "http.response.start",
                    "status": 421,
                    "headers": [(b"content-type", b"text/plain")],
                }
            )
            await send(
                {"type": "http.response.body", "body": b"This page answers to this machine only.\n"}
            )
            return
        await app(scope, receive, with_headers)

    return answer


def _hosts(scope: Scope) -> list[bytes]:
    headers: Iterable[tuple[bytes, bytes]] = scope.get("headers", ())
    return [value for name, value in headers if name == b"host"]
