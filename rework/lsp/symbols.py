"""Names: what a word stands for, where that is defined, and where else it is named, through all
files of a job.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from rework.language.reader import CIRCUIT_KEYWORDS
from rework.language.terminals import Terminals
from rework.lsp.files import Files, OpenText
from rework.lsp.scan import FileKind
from rework.lsp.words import ScannedWord, WordRole, named_place
from rework.rules.catalogue import BUILTIN

_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_+/]*(?:-(?!-)[A-Za-z0-9_+/]*)*")


@dataclass(frozen=True, slots=True)
class NamedThing:
    """What a name stands for: its role, its own name, and the file it belongs to."""

    role: WordRole
    name: str
    home: Path


@dataclass(frozen=True, slots=True)
class NameSpot:
    """A place in a file, lines and columns from 0; an ``end`` of -1 takes the whole line with its
    break.
    """

    path: Path
    line: int
    start: int
    end: int


class RenameRefused(Exception):
    """A name cannot be given; the message says why."""


class Names:
    """What is named in the files an editor has open, and in those beside them."""

    def __init__(self, files: Files) -> None:
        self.files = files

    def symbol(self, source: OpenText, word: ScannedWord) -> NamedThing | None:
        """Return what a word stands for, None for a word that names nothing."""
        return next((symbol for _, symbol in self._named(source, word)), None)

    def _named(
        self, source: OpenText, word: ScannedWord
    ) -> Iterator[tuple[ScannedWord, NamedThing]]:
        """Yield each name in a word with what it stands for."""
        folder = source.path.parent
        match word.role:
            case WordRole.PART | WordRole.NODE:
                yield word, self._in_circuit(source, word.role, word.text)
            case WordRole.TERMINAL | WordRole.WINDING if word.of:
                yield word, self._in_circuit(source, WordRole.PART, word.of)
            case WordRole.ARGUMENT:
                yield from self._argument(source, word)
            case WordRole.PORT if word.defines:
                yield word, NamedThing(WordRole.PORT, word.text, source.path)
            case WordRole.PORT if word.of:
                yield word, NamedThing(WordRole.PORT, word.text, (folder / word.of).resolve())
            case WordRole.PORT if (file := source.guests.get(word.text)) is not None:
                yield word, NamedThing(WordRole.FILE, file, (folder / file).resolve())
            case WordRole.FILE:
                name = word.text.strip('"')
                yield word, NamedThing(WordRole.FILE, name, (folder / name).resolve())
            case WordRole.RULE:
                yield word, NamedThing(WordRole.RULE, word.text, self._rule_file(source, word.text))
            case WordRole.PARAMETER:
                name = word.text.strip("{}").partition("}")[0]
                home = self._rule_file(source, word.of) if word.of else source.path
                yield word, NamedThing(WordRole.PARAMETER, name, home)
            case WordRole.VARIABLE:
                name = word.text.partition(".")[0]
                yield word, NamedThing(WordRole.VARIABLE, name, source.path)

    def _in_circuit(self, source: OpenText, role: WordRole, name: str) -> NamedThing:
        """Return a part or node; one under the name of an attached circuit belongs to its file."""
        first, slash, rest = name.partition("/")
        if slash and first in source.guests:
            path = (source.path.parent / source.guests[first]).resolve()
            guest = self.files.source(path)
            return self._in_circuit(guest, role, rest) if guest else NamedThing(role, rest, path)
        return NamedThing(role, name, source.path)

    def _argument(
        self, source: OpenText, word: ScannedWord
    ) -> Iterator[tuple[ScannedWord, NamedThing]]:
        """Yield the part or node of the job's circuit that a word of a job names."""
        home = self.home_of(source)
        if home is None:
            return
        first, *_ = named_place(word)
        outer, slash, rest = first.text.partition("/")
        if slash and outer in source.guests:
            guest = self.files.source(source.path.parent / source.guests[outer])
            if guest is None:
                return
            home, name = guest, rest
        else:
            name = first.text
        role = WordRole.PART if first is not word or name in home.part_kinds else WordRole.NODE
        yield first, self._in_circuit(home, role, name)

    def home_of(self, source: OpenText) -> OpenText | None:
        """Return the circuit that a file is about: itself, or that of a job."""
        if source.kind is FileKind.CIRCUIT:
            return source
        if source.kind is FileKind.JOB and source.circuit_file:
            return self.files.source(source.path.parent / source.circuit_file)
        return None

    @staticmethod
    def _rule_file(source: OpenText, rule: str) -> Path:
        rule_file = source.path.parent / f"{rule}.rule"
        return rule_file if rule_file.is_file() else BUILTIN / f"{rule}.rule"

    # where a name is

    def spots(
        self, symbol: NamedThing, *, struck: bool = False
    ) -> Iterator[tuple[OpenText, ScannedWord]]:
        """Yield every word that names something, its own file first; with ``struck`` also those of
        parts behind a #.
        """
        for source in self.files.beside(symbol.home):
            for word in source.words:
                if word.struck and not struck:
                    continue
                if word.role in (WordRole.TERMINAL, WordRole.WINDING):
                    continue
                for piece, other in self._named(source, word):
                    if other == symbol:
                        yield source, piece

    def definition(self, source: OpenText, word: ScannedWord) -> NameSpot | None:
        """Return where what a word names is defined: the line of a part or pin, the first part on a
        node, the file of a rule or circuit.
        """
        symbol = self.symbol(source, word)
        if symbol is None:
            return None
        if symbol.role in (WordRole.FILE, WordRole.RULE):
            return NameSpot(symbol.home, 0, 0, 0) if symbol.home.is_file() else None
        home = self.files.source(symbol.home)
        if home is None:
            return None
        if word.role in (WordRole.TERMINAL, WordRole.WINDING) and (
            pin := self._pin(home, symbol, word)
        ):
            return spot(home, pin)
        words = [word for where, word in self.spots(symbol) if where.path == symbol.home]
        first = next((word for word in words if word.defines), None) or next(iter(words), None)
        return spot(home, first) if first else None

    def _pin(self, home: OpenText, symbol: NamedThing, word: ScannedWord) -> ScannedWord | None:
        """Return the word of a part's own line that binds a terminal."""
        circuit, _ = self.files.circuit(home.path)
        part = circuit.part(symbol.name) if circuit else None
        terminals = Terminals(part) if part else None
        wanted = set(terminals.named(word.text)) if terminals else {word.text}
        line = -1
        for entry in home.words:
            if entry.role is WordRole.PART and entry.defines:
                line = entry.line if entry.text == symbol.name else -1
            if (
                line >= 0
                and entry.role in (WordRole.TERMINAL, WordRole.WINDING)
                and entry.of == symbol.name
            ):
                named = set(terminals.named(entry.text)) if terminals else {entry.text}
                if named & wanted:
                    return entry
        return None

    def references(self, source: OpenText, word: ScannedWord) -> list[NameSpot]:
        """Return every place that names what a word stands for; of a node also the pins that are
        named in its place.
        """
        symbol = self.symbol(source, word)
        if symbol is None:
            return []
        name_spots = [spot(where, word) for where, word in self.spots(symbol)]
        if symbol.role is WordRole.NODE:
            name_spots += self._by_pin(symbol)
        return list(dict.fromkeys(name_spots))

    def _by_pin(self, symbol: NamedThing) -> Iterator[NameSpot]:
        home = self.files.source(symbol.home)
        circuit, _ = self.files.circuit(symbol.home)
        if home is None or circuit is None:
            return
        node = circuit.node_named(symbol.name)
        before: ScannedWord | None = None
        for word in home.words:
            named = before is not None and before.role is WordRole.PART and before.text == word.of
            if named and before and word.role is WordRole.TERMINAL and before.end + 1 == word.start:
                part = circuit.part(word.of)
                pins = Terminals(part).named(word.text) if part else ()
                if part and any(part.node(pin) == node for pin in pins):
                    yield NameSpot(home.path, word.line, before.start, word.end)
            before = word

    # another name

    def renamed(self, source: OpenText, word: ScannedWord, name: str) -> list[tuple[NameSpot, str]]:
        """Return what to write where, so that a part or node has another name in every file.

        Raises RenameRefused where it cannot have that name.
        """
        symbol = self.symbol(source, word)
        if symbol is None or symbol.role not in (WordRole.PART, WordRole.NODE):
            raise RenameRefused("Only a part or a node can be renamed.")
        home = self.files.source(symbol.home)
        if home is None:
            raise RenameRefused(f"{symbol.home.name} cannot be read.")
        self._may_be(home, symbol, name)
        edits = []
        for where, place in self.spots(symbol, struck=True):
            at = replace(place, start=place.end - len(symbol.name))
            edits.append((spot(where, at), name))
        if not edits:
            raise RenameRefused(f"No file names {symbol.name}: it is the node of a pin.")
        return list(dict.fromkeys(edits))

    @staticmethod
    def _may_be(home: OpenText, symbol: NamedThing, name: str) -> None:
        if not _NAME.fullmatch(name):
            raise RenameRefused(
                "A name begins with a letter and has letters, digits, _ + - and / in it."
            )
        if name in CIRCUIT_KEYWORDS or name == "unused":
            raise RenameRefused(f"{name} is a word of the language.")
        taken = home.part_kinds if symbol.role is WordRole.PART else home.nodes
        if name in taken:
            what = "part" if symbol.role is WordRole.PART else "node"
            raise RenameRefused(f"There is a {what} {name} already; they would become one.")


def spot(source: OpenText, word: ScannedWord) -> NameSpot:
    """Return the place of a word."""
    return NameSpot(source.path, word.line, word.start, word.end)
