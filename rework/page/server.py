"""The page's own little server: this machine only, one path that nobody can guess, nothing read but
what the page is made of.

Files of the page are read once and answered by name, so there is no path to play tricks with. Every
answer says that the browser may load nothing from elsewhere and keep nothing.
"""

from __future__ import annotations

import asyncio
import contextlib
import secrets
import signal
import socket
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from rework.page.board import Board, Plain
from rework.page.follow import Follower

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

_STATIC = Path(__file__).parent / "static"
_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}
_HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src"
        " 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none';"
        " require-trusted-types-for 'script'"
    ),
    "cache-control": "no-store",
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
#: Seconds between two signs of life to a browser that has nothing to be told.
_BREATH = 15
#: A state of plug and switches is asked for in no more letters than this.
_LONGEST_ROW = 200


def listening(port: int) -> socket.socket:
    """Return a socket on this machine's own address alone; port 0 takes a free one.

    Raises OSError where it is taken.
    """
    found = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        found.bind(("127.0.0.1", port))
        found.listen(64)
    except OSError:
        found.close()
        raise
    return found


def serve(path: str, at: socket.socket, ready: Callable[[str], None]) -> None:
    """Serve the page of the job at ``path`` until Ctrl-C or SIGTERM; ``ready`` is called with its
    address once it answers.
    """
    asyncio.run(_serve(path, at, ready))


async def _serve(path: str, at: socket.socket, ready: Callable[[str], None]) -> None:
    import uvicorn

    class Server(uvicorn.Server):
        """Leaves the signals to us: they end the page, they are no failure."""

        @contextlib.contextmanager
        def capture_signals(self) -> Iterator[None]:
            yield

    token = secrets.token_urlsafe(24)
    port = at.getsockname()[1]
    board = Board()
    follower = Follower(path, board)
    server = Server(
        uvicorn.Config(
            guarded(application(token, board, follower), port),
            log_config=None,
            access_log=False,
            lifespan="off",
            ws="none",
            loop="asyncio",
            http="h11",
            server_header=False,
            date_header=False,
            timeout_graceful_shutdown=2,
        )
    )
    loop = asyncio.get_running_loop()

    def stop() -> None:
        server.should_exit = True
        board.close()

    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: loop.call_soon_threadsafe(stop))
    following = asyncio.create_task(follower.follow())
    following.add_done_callback(lambda task: None if task.cancelled() else stop())
    serving = asyncio.create_task(server.serve(sockets=[at]))
    while not (server.started or serving.done()):
        await asyncio.sleep(0.01)
    if server.started:
        ready(f"http://127.0.0.1:{port}/{token}/")
    await serving
    following.cancel()
    follower.stop()
    await asyncio.gather(following, return_exceptions=True)
    failure = None if following.cancelled() else following.exception()
    if failure:
        raise failure


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

        hosts = [value for name, value in scope.get("headers", ()) if name == b"host"]
        if scope["type"] != "http" or hosts not in ([name] for name in names):
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


def application(token: str, board: Board, follower: Follower) -> ASGIApp:
    """Return the answers there are: the page and its files, the pieces as they come, a step's
    drawing, ties and ways on demand.
    """
    from starlette.applications import Starlette
    from starlette.exceptions import HTTPException
    from starlette.responses import Response, StreamingResponse
    from starlette.routing import Route

    files = {file.name: file.read_bytes() for file in _STATIC.iterdir() if file.suffix in _TYPES}
    files["colours.css"] = colours().encode()

    async def file(request: Request) -> Response:
        _known(request, token)
        name = request.path_params.get("name", "index.html")
        if name not in files:
            raise HTTPException(404)
        return Response(files[name], media_type=_TYPES[Path(name).suffix])

    async def pieces(request: Request) -> Response:
        _known(request, token)
        return StreamingResponse(_events(board), media_type="text/event-stream")

    async def nothing(_: Request, failure: Exception) -> Response:
        status = failure.status_code if isinstance(failure, HTTPException) else 500
        return Response("There is nothing here.\n", status, media_type="text/plain")

    answers = Starlette(
        routes=[
            Route("/{token}/", file),
            Route("/{token}/pieces", pieces),
            *_on_demand(token, follower),
            Route("/{token}/{name}", file),
        ],
        exception_handlers={HTTPException: nothing},
    )
    answers.router.redirect_slashes = False
    return answers


def _on_demand(token: str, follower: Follower) -> list[Route]:
    """Return the answers that are computed when the browser asks: a step's drawing, ties, ways."""
    from starlette.exceptions import HTTPException
    from starlette.responses import JSONResponse
    from starlette.routing import Route

    def told(value: Plain | None) -> Response:
        if value is None:
            raise HTTPException(404)
        return JSONResponse(value)

    async def step(request: Request) -> Response:
        _known(request, token)
        return told(await follower.step(request.path_params["number"]))

    async def ties(request: Request) -> Response:
        _known(request, token)
        return told(await follower.ties(request.query_params.get("circuit", "")))

    async def way(request: Request) -> Response:
        _known(request, token)
        row = _row_of(request.query_params.get("row", ""))
        if row is None:
            raise HTTPException(404)
        return told(
            await follower.way(
                request.query_params.get("circuit", ""),
                request.query_params.get("node", ""),
                row,
            )
        )

    return [
        Route("/{token}/step/{number:int}", step),
        Route("/{token}/ties", ties),
        Route("/{token}/way", way),
    ]


def _known(request: Request, token: str) -> None:
    """Raise HTTPException where a browser does not have the token of the page."""
    from starlette.exceptions import HTTPException

    if not secrets.compare_digest(request.path_params["token"].encode(), token.encode()):
        raise HTTPException(404)


def _row_of(text: str) -> tuple[int, ...] | None:
    """Return the state that a browser asks for, None where its numbers are none."""
    numbers = text[:_LONGEST_ROW].split(",")
    if not all(number.isascii() and number.isdigit() and len(number) < 4 for number in numbers):
        return None
    return tuple(map(int, numbers))


async def _events(board: Board) -> AsyncIterator[str]:
    """Yield the pieces as server-sent events, and a sign of life now and then."""
    pieces = board.follow()
    waiting = asyncio.ensure_future(anext(pieces, None))
    try:
        while True:
            done, _ = await asyncio.wait({waiting}, timeout=_BREATH)
            if not done:
                yield ": still here\n\n"
                continue
            if (text := waiting.result()) is None:
                return
            yield f"data: {text}\n\n"
            waiting = asyncio.ensure_future(anext(pieces, None))
    finally:
        waiting.cancel()


def colours() -> str:
    """Return the colours of drawings as style: what the drawings say in the light theme, told again
    for the dark one.
    """
    from rework.draw.colours import PALETTES, WIRE, ink

    light, dark = PALETTES["light"], PALETTES["dark"]
    rules = []
    for names, one, other in [
        ("stroke", ink(role, "light"), ink(role, "dark")) for role in WIRE
    ] + [
        ("stroke", light.ink, dark.ink),
        ("stroke", light.hazard, dark.hazard),
        ("stroke", light.removed, dark.removed),
        ("stroke", light.added, dark.added),
        ("stroke", light.faint, dark.faint),
        ("stroke", light.paper, dark.paper),
    ]:
        rules.append(f'.scene [{names}="{one}"]{{{names}:{other}}}')
    for tag, one, other in [
        ("text", light.ink, dark.ink),
        ("text", light.faint, dark.faint),
        ("text", light.hazard, dark.hazard),
        ("text", light.on_strip, dark.on_strip),
        *(("text", ink(role, "light"), ink(role, "dark")) for role in WIRE),
        *(
            (shape, ink(role, "light"), ink(role, "dark"))
            for shape in ("polygon", "path", "circle", "rect")
            for role in WIRE
        ),
        *((shape, light.block, dark.block) for shape in ("polygon", "path", "circle", "rect")),
        *((shape, light.paper, dark.paper) for shape in ("polygon", "path", "circle", "rect")),
    ]:
        rules.append(f'.scene {tag}[fill="{one}"]{{fill:{other}}}')
    dark_rules = "".join(f":root[data-theme=dark] {rule}" for rule in dict.fromkeys(rules))
    return f"@media screen{{{dark_rules}}}\n"
