"""Words in the manual: where they stand, and what to do about a message."""

from __future__ import annotations

from collections.abc import Iterator

from rework.manual.blocks import Block, Bullets, Heading, ManualExample, Paragraph, Rows
from rework.manual.book import TOPICS, page
from rework.manual.messages import Message, like
from rework.manual.printed import plain

#: So many places, and so many messages, are listed.
MOST_PLACES, MOST_MESSAGES = 40, 5


def remedies(printed: str) -> tuple[Message, ...]:
    """Return the messages that a printed one can be, the likeliest first."""
    return like(printed)[:MOST_MESSAGES]


def places(words: str) -> tuple[tuple[str, str], ...]:
    """Return the topics and texts that contain every word."""
    wanted = words.lower().split()
    spots = [
        (topic.name, text)
        for topic in TOPICS
        for block in page(topic.name)
        for text in _texts(block)
        if all(word in text.lower() for word in wanted)
    ]
    return tuple(spots[:MOST_PLACES])


def _texts(block: Block) -> Iterator[str]:
    match block:
        case Heading(_, text) | Paragraph(text):
            yield plain(text)
        case Bullets(items, _):
            yield from map(plain, items)
        case ManualExample(_, text, _):
            yield from text.splitlines()
        case Rows(_, rows):
            yield from (": ".join(filter(None, map(plain, row))) for row in rows)
