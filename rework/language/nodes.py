"""Which words of a file are one node, and what that node is called."""

from __future__ import annotations

import re
from collections.abc import Iterable

from lark import Token

from rework.circuit.graph import Merged
from rework.language.reader import Line

#: Every pin of a part with the key of its node: a plain name, or ``PART.terminal``.
Pins = list[tuple[str, str]]


class NodeBook:
    """Keys of nodes while a file is read: a plain name, or ``PART.terminal`` for a pin that another
    line refers to.
    """

    def __init__(self) -> None:
        self.first_seen: dict[str, tuple[Line, Token]] = {}
        self._references: dict[tuple[str, str], None] = {}
        self._merged = Merged()
        self._joined: list[str] = []

    def see(self, key: str, line: Line, token: Token) -> str:
        """Note where a node is named first, and return its key."""
        if key not in self.first_seen:
            self.first_seen[key] = (line, token)
        return key

    def refer(self, name: str, terminal: str, line: Line, token: Token) -> str:
        """Note that a line names the node on a pin, and return its key."""
        self._references[name, terminal] = None
        return self.see(f"{name}.{terminal}", line, token)

    def join(self, keys: list[str]) -> None:
        """Make one node of several; the first of them gives it its name."""
        self._joined += keys
        for key in keys[1:]:
            self._merged.join(keys[0], key)

    def bind(self, pins: dict[str, Pins]) -> None:
        """Make one node of a pin that others refer to and the node its own line gives it."""
        for name, terminal in self._references:
            key = f"{name}.{terminal}"
            bound = next((node for pin, node in pins[name] if pin == terminal), None)
            if bound is None:
                pins[name].append((terminal, key))
            elif bound != key:
                self._merged.join(bound, key)

    def names(self) -> tuple[dict[str, str], tuple[tuple[str, str], ...]]:
        """Return the name of every key whose name is another, and the (alias, name) pairs that
        joins made, sorted.
        """
        order = {
            key: place for place, key in enumerate(dict.fromkeys([*self._joined, *self.first_seen]))
        }
        taken = {key for key in order if "." not in key}
        names: dict[str, str] = {}
        aliases: list[tuple[str, str]] = []
        for keys in self._merged.groups().values():
            plain = sorted(
                (key for key in keys if "." not in key), key=lambda key: order.get(key, len(order))
            )
            chosen = plain[0] if plain else self._made_up(min(keys), taken)
            names.update((key, chosen) for key in keys)
            aliases += [(alias, chosen) for alias in plain[1:]]
        for name, terminal in self._references:
            key = f"{name}.{terminal}"
            if key not in names:
                names[key] = self._made_up(key, taken)
        return names, tuple(sorted(aliases))

    @staticmethod
    def _made_up(key: str, taken: set[str]) -> str:
        """Return a plain name for a node that has none: V1.5 becomes V1-5, so that it is written
        and read like any other.
        """
        wanted = name = re.sub(r"[./]", "-", key)
        number = 1
        while name in taken:
            name, number = f"{wanted}_{number}", number + 1
        taken.add(name)
        return name


def renamed(keys: Iterable[str], names: dict[str, str]) -> list[str]:
    """Return the names of nodes by their keys."""
    return [names.get(key, key) for key in keys]
