"""What the page shows at the moment, piece by piece, and who is to be reported when a piece
changes.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any

from rework.report.table import Table, values

#: What a browser gets: texts, numbers, lists and dicts of them.
Plain = dict[str, Any]
#: A browser that is behind by more pieces than this is let go; it comes back and gets everything
#: anew.
_MOST_BEHIND = 500


class Board:
    """Pieces by key, each a plain value, and the browsers that follow them. For one event loop."""

    def __init__(self) -> None:
        self._pieces: dict[str, str] = {}
        self._tables: dict[str, dict[str, Table]] = {}
        self._followers: set[asyncio.Queue[str | None]] = set()

    def put(self, key: str, value: object) -> None:
        """Keep a piece; where it is not what it was, tell every follower.

        A table in it is sent as ``report.table.values``, with ``from``, the piece it is in.
        """
        tables: dict[str, Table] = {}

        def plain(table: object) -> Plain:
            if not isinstance(table, Table):
                raise TypeError(f"{type(table).__name__} is no plain value")
            tables[table.key] = table
            return {**values(table), "from": key}

        text = json.dumps(
            {"key": key, "value": value},
            ensure_ascii=False,
            separators=(",", ":"),
            allow_nan=False,
            default=plain,
        )
        self._tables[key] = tables
        if self._pieces.get(key) == text:
            return
        self._pieces[key] = text
        for queue in tuple(self._followers):
            if queue.qsize() >= _MOST_BEHIND:
                self._followers.discard(queue)
                queue.put_nowait(None)
            else:
                queue.put_nowait(text)

    def table(self, piece: str, key: str) -> Table | None:
        """Return a table of a piece by its key; None where there is none."""
        return self._tables.get(piece, {}).get(key)

    def piece(self, key: str) -> Any:  # noqa: ANN401  whatever the piece is
        """Return a piece as the browser has it; None where there is none."""
        text = self._pieces.get(key)
        return None if text is None else json.loads(text)["value"]

    async def follow(self) -> AsyncIterator[str]:
        """Yield every piece as JSON, then each that changes, until the board is closed."""
        queue: asyncio.Queue[str | None] = asyncio.Queue()
        for piece in self._pieces.values():
            queue.put_nowait(piece)
        self._followers.add(queue)
        try:
            while (text := await queue.get()) is not None:
                yield text
        finally:
            self._followers.discard(queue)

    def close(self) -> None:
        """Let every follower go."""
        for queue in self._followers:
            queue.put_nowait(None)
