"""What the server answers: the way in; the page and its files; the pieces as they come; drawings,
tables and ways on demand; and what the bench writes.

Files of the page are read once and answered by name, so there is no path to play tricks with.
"""

from __future__ import annotations

import asyncio
import json
import re
import secrets
from collections.abc import AsyncIterator, Awaitable, Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from rework.language.files import Refusal
from rework.page import access, record, wording
from rework.page.board import Board, Plain
from rework.page.colours import colours
from rework.page.commanded import COMMANDS
from rework.page.follow import Follower
from rework.page.plain import plain_page
from rework.report.table import spreadsheet

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route
    from starlette.types import ASGIApp

_STATIC = Path(__file__).parent / "static"
_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".pdf": "application/pdf",
    ".csv": "text/csv; charset=utf-8",
}
#: Seconds between two signs of life to a browser that has nothing to be told.
_BREATH = 15
#: A state of plug and switches is asked for in no more letters than this; so many bytes are taken
#: of what is written.
_LONGEST_ROW, _LONGEST_NOTE = 200, 20_000
#: An answer as starlette asks for it.
_Answer = Callable[["Request"], Awaitable["Response"]]


class RefusedRequest(Exception):
    """A request that gets no answer but a status."""

    def __init__(self, status: int) -> None:
        super().__init__(str(status))
        self.status = status


def application(token: str, board: Board, follower: Follower) -> ASGIApp:
    """Return the answers as an application; without the cookie of the token there is nothing."""
    from starlette.applications import Starlette
    from starlette.exceptions import HTTPException
    from starlette.responses import Response
    from starlette.routing import Route

    answers = _Answers(token, board, follower)

    def guarded(path: str, answer: _Answer, method: str = "GET") -> Route:
        async def answered(request: Request) -> Response:
            if not access.admitted(request, token):
                raise RefusedRequest(404)
            return await answer(request)

        return Route(path, answered, methods=[method])

    async def nothing(_: Request, failure: Exception) -> Response:
        status = getattr(failure, "status", getattr(failure, "status_code", 500))
        return Response("Not found.\n", status, media_type="text/plain")

    app = Starlette(
        routes=[
            guarded("/", answers.file),
            guarded("/pieces", answers.pieces),
            guarded("/plain", answers.plain),
            guarded("/step/{number:int}", answers.step),
            guarded("/ties", answers.ties),
            guarded("/way", answers.way),
            guarded("/said/{command}", answers.said),
            guarded("/trouble", answers.trouble),
            guarded("/drawing/{name}", answers.drawing),
            guarded("/table/{piece}/{key}.csv", answers.table),
            guarded("/reading", answers.reading, "POST"),
            guarded("/entry", answers.entry, "POST"),
            guarded("/favicon.ico", answers.icon),
            Route("/{token}/", answers.way_in),
            guarded("/{name}", answers.file),
        ],
        exception_handlers={HTTPException: nothing, RefusedRequest: nothing},
    )
    app.router.redirect_slashes = False
    return app


class _Answers:
    """The answers of one page, a method each."""

    def __init__(self, token: str, board: Board, follower: Follower) -> None:
        from starlette import responses

        self.token, self.board, self.follower = token, board, follower
        self._responses = responses
        self._files = {
            file.name: file.read_bytes() for file in _STATIC.iterdir() if file.suffix in _TYPES
        }
        self._files["colours.css"] = colours().encode()
        self._files["words.js"] = wording.script().encode()

    # the page

    async def way_in(self, request: Request) -> Response:
        """Give a browser with the token its cookie."""
        if not secrets.compare_digest(request.path_params["token"].encode(), self.token.encode()):
            raise RefusedRequest(404)
        return self._responses.Response(
            access.admission(),
            media_type=_TYPES[".html"],
            headers=access.cookie_header(request, self.token),
        )

    async def file(self, request: Request) -> Response:
        """Return a file of the page."""
        name = request.path_params.get("name", "index.html")
        if name not in self._files:
            raise RefusedRequest(404)
        return self._responses.Response(self._files[name], media_type=_TYPES[Path(name).suffix])

    async def icon(self, _: Request) -> Response:
        """Return the mark where a browser looks for one: beside what has no head to name it in."""
        return self._responses.Response(self._files["mark.svg"], media_type=_TYPES[".svg"])

    async def plain(self, _: Request) -> Response:
        """Return the page for a browser without scripts."""
        return self._responses.Response(plain_page(self.board), media_type=_TYPES[".html"])

    async def pieces(self, _: Request) -> Response:
        """Return the pieces as they come."""
        return self._responses.StreamingResponse(
            _events(self.board), media_type="text/event-stream"
        )

    # on demand

    async def step(self, request: Request) -> Response:
        """Return the drawing of a step."""
        return self._now(await self.follower.step(request.path_params["number"]))

    async def ties(self, request: Request) -> Response:
        """Return the ties of a circuit."""
        return self._now(await self.follower.ties(request.query_params.get("circuit", "")))

    async def way(self, request: Request) -> Response:
        """Return the way to a node in one state."""
        row = _row_of(request.query_params.get("row", ""))
        if row is None:
            raise RefusedRequest(404)
        asked = request.query_params
        answer = self.follower.way(asked.get("circuit", ""), asked.get("node", ""), row)
        return self._now(await answer)

    async def said(self, request: Request) -> Response:
        """Have a command say what it has to say of the job: a piece follows."""
        command = request.path_params["command"]
        if command not in COMMANDS:
            raise RefusedRequest(404)
        return self._now(await self.follower.said(command))

    async def trouble(self, request: Request) -> Response:
        """Return what the readings of a set point to, and what to read next."""
        side = request.query_params.get("side", "")
        if side not in ("", "before", "after"):
            raise RefusedRequest(404)
        return self._now(await self.follower.trouble(side))

    def _now(self, value: Plain | None) -> Response:
        """Return what the job has now; null where it has no such thing.

        That is no failure: a page that was drawn before the last save, or before this server was
        started, asks for what it saw.
        """
        return self._responses.JSONResponse(value)

    # files to keep

    async def drawing(self, request: Request) -> Response:
        """Return a drawing as SVG or PDF."""
        name = Path(request.path_params["name"])
        asked = name.stem, request.query_params.get("sheet", ""), name.suffix.removeprefix(".")
        data = await self.follower.drawing(*asked)
        if data is None:
            raise RefusedRequest(404)
        if "show" in request.query_params:
            return self._responses.Response(data, media_type=_TYPES[name.suffix])
        return self._kept(data, asked[:2], name.suffix)

    async def table(self, request: Request) -> Response:
        """Return a table as CSV."""
        piece, key = request.path_params["piece"], request.path_params["key"]
        table = self.board.table(piece, key)
        if table is None:
            raise RefusedRequest(404)
        return self._kept(spreadsheet(table), (*piece.split("."), key), ".csv")

    def _kept(self, data: bytes, words: tuple[str, ...], suffix: str) -> Response:
        """Return a file that the browser keeps under a name made of words."""
        name = "-".join(dict.fromkeys(filter(None, (self.follower.path.stem, *words)))) + suffix
        plain = re.sub(r"[^A-Za-z0-9._-]", "_", name)
        return self._responses.Response(
            data,
            media_type=_TYPES[suffix],
            headers={"content-disposition": f'attachment; filename="{plain}"'},
        )

    # what is written

    async def reading(self, request: Request) -> Response:
        """Write a reading into the job."""
        asked = await _asked_of(request)
        fields = [str(asked.get(name, "")).strip() for name in ("seen", "at", "value", "remark")]
        if not fields[1] or any(len(text) > record.MOST_LETTERS for text in fields):
            raise RefusedRequest(400)
        return await self._written(partial(record.write_reading, self.follower.path, *fields))

    async def entry(self, request: Request) -> Response:
        """Write an entry into the record, or take it out."""
        asked = await _asked_of(request)
        entry = record.entry_of(asked)
        if entry is None:
            raise RefusedRequest(400)
        seen, ticked = str(asked.get("seen", "")), bool(asked.get("ticked"))
        return await self._written(
            partial(record.write_entry, self.follower.path, seen, entry, ticked=ticked)
        )

    async def _written(self, work: Callable[[], None]) -> Response:
        try:
            await self.follower.write(work)
        except Refusal as refusal:
            return self._responses.JSONResponse({"refused": record.refusal_words(refusal)}, 409)
        return self._responses.JSONResponse(record.seen_now(self.follower.path))


async def _asked_of(request: Request) -> Plain:
    """Return what the page sends to be written."""
    if not access.writes_from_the_page(request):
        raise RefusedRequest(403)
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > _LONGEST_NOTE:
            raise RefusedRequest(413)
    try:
        asked = json.loads(body)
    except ValueError:
        raise RefusedRequest(400) from None
    if not isinstance(asked, dict):
        raise RefusedRequest(400)
    return asked


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
        yield "retry: 1000\n\n"
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
