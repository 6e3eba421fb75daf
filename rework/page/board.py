"""What the page shows at the moment, piece by piece, and who is to be told when a piece changes."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any

#: What a browser gets: texts, numbers, lists and dicts of them.
Plain = dict[str, Any]
#: A browser that is behind by more pieces than this is let go; it comes back and gets everything
#: anew.
_MOST_BEHIND = 500


class Board:
    """Pieces by key, each a plain value, and the browsers that follow them. For one event loop."""

    def __init__(self) -> None:
        self._pieces: dict[str, str] = {}
        self._followers: set[asyncio.Queue[str | None]] = set()

    def put(self, key: str, value: object) -> None:
        """Keep a piece; where it is not what it was, tell every follower."""
        text = json.dumps(
            {"key": key, "value": value}, ensure_ascii=False, separators=(",", ":"), allow_nan=False
        )
        if self._pieces.get(key) == text:
            return
        self._pieces[key] = text
        for queue in tuple(self._followers):
            if queue.qsize() >= _MOST_BEHIND:
                self._followers.discard(queue)
                queue.put_nowait(None)
            else:
                queue.put_nowait(text)

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
