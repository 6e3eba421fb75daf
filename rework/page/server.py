"""The page's own little server: this machine only, until Ctrl-C."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import socket
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from rework.page import access
from rework.page.answers import application
from rework.page.board import Board
from rework.page.follow import Follower

if TYPE_CHECKING:
    import uvicorn
    from starlette.types import ASGIApp


def listening(port: int) -> socket.socket:
    """Return a socket on this machine's own address alone; port 0 takes a free one.

    Raises OSError where it is taken.
    """
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(("127.0.0.1", port))
        listener.listen(64)
    except OSError:
        listener.close()
        raise
    return listener


def serve(path: str, at: socket.socket, ready: Callable[[str], None]) -> None:
    """Serve the page of the job at ``path`` until Ctrl-C or SIGTERM; ``ready`` is called with its
    address once it answers.
    """
    asyncio.run(_serve(path, at, ready))


async def _serve(path: str, at: socket.socket, ready: Callable[[str], None]) -> None:
    port = at.getsockname()[1]
    kept = access.PagePass(access.kept_pass(Path(path)).token, port)
    access.keep(Path(path), kept)
    board = Board()
    follower = Follower(path, board)
    server = _quiet_server(access.guarded(application(kept.token, board, follower), port))
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
        ready(f"http://127.0.0.1:{port}/{kept.token}/")
    await serving
    following.cancel()
    await asyncio.gather(following, return_exceptions=True)
    await follower.stop()
    failure = None if following.cancelled() else following.exception()
    if failure:
        raise failure


def _quiet_server(app: ASGIApp) -> uvicorn.Server:
    """Return a server that logs nothing and leaves the signals to us: they end the page, they are
    no failure.
    """
    import uvicorn

    class Server(uvicorn.Server):
        """Installs no handlers of signals."""

        @contextlib.contextmanager
        def capture_signals(self) -> Iterator[None]:
            yield

    return Server(
        uvicorn.Config(
            app,
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
