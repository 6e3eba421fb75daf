"""The entries of a difference of two circuits: a pin moved, a part changed, a node split."""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass

from rework.circuit.circuit import Mains
from rework.circuit.parts import Part, Value


@dataclass(frozen=True, slots=True)
class PinMove:
    """A pin on another node than before. A node is None where the pin is on nothing.

    ``terminal`` is the pin's name before, ``terminal_after`` after: they differ only where the part
    was also turned round. ``type`` is the type of a tube, so that whoever prints the move can name
    the element.
    """

    part: str
    type: str
    terminal: str
    terminal_after: str
    before: str | None
    after: str | None


@dataclass(frozen=True, slots=True)
class Reversal:
    """Two terminals of one part, each on the node of the other: a part put in the wrong way round,
    or two leads exchanged.

    ``nodes`` are those of ``terminals`` before, ``nodes_after`` after; ``whole`` where these are
    all the terminals of the part.
    """

    part: str
    type: str
    terminals: tuple[str, str]
    nodes: tuple[str, str]
    nodes_after: tuple[str, str]
    whole: bool


@dataclass(frozen=True, slots=True)
class Opening:
    """Two pins that were alone together on a node and are each alone now, so that none of the two
    can be said to have moved; or the other way round.

    ``pins`` are pairs of part and terminal, ``types`` those of tubes.
    """

    node: str
    pins: tuple[tuple[str, str], tuple[str, str]]
    types: tuple[str, str]


@dataclass(frozen=True, slots=True)
class Attribute:
    """One property of a part that differs; an empty text where the file does not state it."""

    what: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class PartChange:
    """A part of the same kind with other values, words, type or settings."""

    part: str
    attributes: tuple[Attribute, ...]


@dataclass(frozen=True, slots=True)
class Seat:
    """The pins an exchanged tube has on one node, before and after; a node is None where it has no
    counterpart.
    """

    node: str | None
    node_after: str | None
    pins: tuple[str, ...]
    pins_after: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TubeExchange:
    """Another tube type in the same place, with the nodes that are on other pins now (none where
    all stay).
    """

    part: str
    type: str
    type_after: str
    moves: tuple[Seat, ...]


@dataclass(frozen=True, slots=True)
class Split:
    """One node that is several now; ``into`` begins with the one that kept most of its pins."""

    node: str
    into: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Merge:
    """Several nodes that are one now; ``nodes`` begins with the one most of its pins are from."""

    nodes: tuple[str, ...]
    into: str


@dataclass(frozen=True, slots=True)
class PortMoved:
    """A port on another node; a node is None where there is no such port."""

    name: str
    before: str | None
    after: str | None


@dataclass(frozen=True, slots=True)
class Difference:
    """Everything in which two circuits differ, each kind of difference in the order of part or node
    names.

    Conductors (trace, wire, shielded cable) are ``cut`` and ``run``, all other parts ``removed``
    and ``added``. A part of the same name but another kind is removed and added. ``renamed`` nodes
    are reported for information and are no difference.
    """

    added: tuple[Part, ...] = ()
    removed: tuple[Part, ...] = ()
    changed: tuple[PartChange, ...] = ()
    exchanged: tuple[TubeExchange, ...] = ()
    moved: tuple[PinMove, ...] = ()
    reversed: tuple[Reversal, ...] = ()
    opened: tuple[Opening, ...] = ()
    joined: tuple[Opening, ...] = ()
    cut: tuple[Part, ...] = ()
    run: tuple[Part, ...] = ()
    split: tuple[Split, ...] = ()
    merged: tuple[Merge, ...] = ()
    in_reach: tuple[str, ...] = ()
    out_of_reach: tuple[str, ...] = ()
    ports: tuple[PortMoved, ...] = ()
    mains: tuple[Mains | None, Mains | None] | None = None
    title: tuple[str, str] | None = None
    renamed: tuple[tuple[str, str], ...] = ()

    @property
    def is_empty(self) -> bool:
        """True where the circuits mean the same; node names may differ."""
        return not any(
            getattr(self, entry.name) for entry in fields(self) if entry.name != "renamed"
        )

    def as_json(self) -> dict[str, object]:
        """Return the difference as plain lists, dicts and texts.

        ``same``: true where nothing differs. ``added``, ``removed``, ``run``, ``cut``: parts, each
        with ``part``, ``kind``, ``type``, ``values`` (texts), ``words`` and ``pins`` (terminal to
        node). ``changed``: ``part`` and ``attributes``, each with ``what``, ``before``, ``after``.
        ``exchanged``: ``part``, ``type``, ``type_after`` and ``moves``, each with ``node``,
        ``node_after``, ``pins``, ``pins_after``. ``moved``: ``part``, ``type`` (of a tube),
        ``terminal``, ``terminal_after``, ``before``, ``after`` (nodes, null for nothing).
        ``reversed``: ``part``, ``type``, two ``terminals``, their ``nodes`` and ``nodes_after``,
        ``whole``. ``opened``, ``joined``: ``node``, two ``pins`` (part and terminal), ``types`` of
        tubes.
        ``split``: ``node``, ``into``. ``merged``: ``nodes``, ``into``. ``in_reach``,
        ``out_of_reach``: nodes named touchable now, and no longer. ``ports``: ``name``, ``before``,
        ``after``. ``mains``: null, or ``before`` and ``after``, each null or ``volts`` and
        ``hertz``. ``title``: null, or ``before`` and ``after``. ``renamed``: ``before``, ``after``;
        not counted in ``same``.
        """
        as_json: dict[str, object] = {"same": self.is_empty}
        for entry in fields(self):
            content = getattr(self, entry.name)
            if entry.name in ("mains", "title"):
                as_json[entry.name] = content and {
                    "before": _plain(content[0]),
                    "after": _plain(content[1]),
                }
            elif entry.name == "renamed":
                as_json[entry.name] = [
                    {"before": first, "after": second} for first, second in content
                ]
            else:
                as_json[entry.name] = [_plain(entry_value) for entry_value in content]
        return as_json


def value_text(value: Value) -> str:
    """Return a value as its file wrote it, or its SI amount where it came from no file."""
    return value.text or f"{value.amount:g} ({value.dimension}, SI)"


def _plain(content: object) -> object:
    if isinstance(content, Part):
        return {
            "part": content.name,
            "kind": content.kind,
            "type": content.type,
            "values": [value_text(value) for value in content.values],
            "words": list(content.words),
            "pins": dict(content.pins),
        }
    if is_dataclass(content):
        return {entry.name: _plain(getattr(content, entry.name)) for entry in fields(content)}
    return [_plain(item) for item in content] if isinstance(content, tuple) else content
