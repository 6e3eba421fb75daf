"""The files of a job as an editor sees them: what is open and not saved yet before what is on the
disk.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.language.files import Refusal, read_bytes, read_circuit_file
from rework.language.reader import decode
from rework.lsp.scan import FileKind
from rework.lsp.words import ScannedWord, WordRole, words_of
from rework.rules.job_file import try_job_file
from rework.rules.run import JobRun

#: So many files beside an open one are looked through for a name.
_MOST_BESIDE = 200
#: So many texts are kept with what they were read as.
_MOST_KEPT = 64


@dataclass(frozen=True)
class OpenText:
    """One file: its path, kind and text."""

    path: Path
    kind: FileKind
    text: str

    @cached_property
    def words(self) -> tuple[ScannedWord, ...]:
        """Its words, in the order of the file."""
        return words_of(self.text, self.kind)

    @cached_property
    def lines(self) -> list[str]:
        """Its lines."""
        return self.text.split("\n")

    @cached_property
    def part_kinds(self) -> dict[str, str]:
        """The kind of every part by its name, as written."""
        kinds: dict[str, str] = {}
        part = ""
        for word in self.words:
            if word.struck:
                continue
            if word.defines and word.role is WordRole.PART:
                part = word.text
                kinds[part] = ""
            elif word.role is WordRole.KIND and part:
                kinds[part] = f"{kinds[part]} {word.text}".strip()
        return kinds

    @cached_property
    def nodes(self) -> tuple[str, ...]:
        """Every node that is named, those named most often first."""
        counts: dict[str, int] = {}
        for word in self.words:
            if word.role is WordRole.NODE and not word.struck:
                counts[word.text] = counts.get(word.text, 0) + 1
        return tuple(sorted(counts, key=lambda node: -counts[node]))

    @cached_property
    def guests(self) -> dict[str, str]:
        """The file of every attached circuit by the name it is attached under."""
        guests: dict[str, str] = {}
        file = ""
        for word in self.words:
            if word.role is WordRole.FILE:
                file = word.text.strip('"')
            elif word.role is WordRole.PORT and not word.of and not word.defines and file:
                guests[word.text] = file
                file = ""
        return guests

    @cached_property
    def circuit_file(self) -> str:
        """The circuit that a job is about, "" where it names none."""
        words = iter(self.words)
        for word in words:
            if word.role is WordRole.KEYWORD and word.text == "circuit":
                return next((word.text.strip('"') for word in words), "")
        return ""


class Files:
    """Texts by path, each read once."""

    def __init__(self) -> None:
        self.open: dict[Path, str] = {}
        self._sources: OrderedDict[tuple[Path, str], OpenText] = OrderedDict()
        self._circuits: OrderedDict[
            tuple[Path, int], tuple[Circuit | None, tuple[Problem, ...]]
        ] = OrderedDict()
        self._edition = 0

    def put(self, path: Path, text: str | None) -> None:
        """Take the text of an open file; None for one that was closed."""
        self._edition += 1
        if text is None:
            self.open.pop(path, None)
        else:
            self.open[path] = text.replace("\r\n", "\n").replace("\r", "\n")

    def bytes_of(self, path: Path) -> bytes:
        """Return the bytes of a file. Raises Refusal where it cannot be read."""
        text = self.open.get(path.resolve())
        return text.encode() if text is not None else read_bytes(path)

    def source(self, path: Path) -> OpenText | None:
        """Return a file with its words, None where it cannot be read or is of another kind."""
        path = path.resolve()
        kind = kind_of(path)
        if kind is None:
            return None
        try:
            text, _ = decode(self.bytes_of(path), str(path))
        except Refusal:
            return None
        if text is None:
            return None
        key = (path, text)
        if key not in self._sources:
            self._sources[key] = OpenText(path, kind, text)
            if len(self._sources) > _MOST_KEPT:
                self._sources.popitem(last=False)
        return self._sources[key]

    def circuit(self, path: Path) -> tuple[Circuit | None, tuple[Problem, ...]]:
        """Return the circuit in a file, None where it has errors, and its problems."""
        key = (path.resolve(), self._edition)
        if key not in self._circuits:
            try:
                self._circuits[key] = read_circuit_file(path.resolve(), read=self.bytes_of)
            except Refusal as refusal:
                self._circuits[key] = None, refusal.problems
            if len(self._circuits) > _MOST_KEPT:
                self._circuits.popitem(last=False)
        return self._circuits[key]

    def run(self, path: Path) -> JobRun:
        """Return how far a job goes. Raises Refusal where it cannot be read."""
        return try_job_file(str(path.resolve()), [], open_file=self.bytes_of)

    def beside(self, path: Path) -> Iterator[OpenText]:
        """Yield a file, then every circuit and job in its folder and every open one."""
        folder = path.resolve().parent
        listed = [path.resolve()]
        if folder.is_dir():
            listed += sorted(folder.glob("*.circuit")) + sorted(folder.glob("*.job"))
        for file in dict.fromkeys([*listed[:_MOST_BESIDE], *self.open]):
            if (source := self.source(file)) is not None:
                yield source


def kind_of(path: Path) -> FileKind | None:
    """Return the kind of file that a path's suffix names, None for another one."""
    try:
        return FileKind(path.suffix.removeprefix("."))
    except ValueError:
        return None
