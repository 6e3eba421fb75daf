"""The protocol: requests of an editor to the functions of this room, and their values back."""

from __future__ import annotations

import asyncio
import json
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from lsprotocol import types as lsp
from pygls.exceptions import JsonRpcInvalidParams
from pygls.lsp.server import LanguageServer
from pygls.uris import from_fs_path, to_fs_path

from rework import __version__
from rework.language.reader import decode
from rework.lsp.complete import Offer, Sort, choices, described
from rework.lsp.files import Files, OpenText
from rework.lsp.hover import HoverVolts, hover
from rework.lsp.layout import LEGEND, coloured, folds
from rework.lsp.marks import ColourMark, Fix, check_marks, problem_marks, unique
from rework.lsp.scan import FileKind
from rework.lsp.symbols import Names, NameSpot, RenameRefused
from rework.lsp.words import ScannedWord, word_at
from rework.rules.tidy import tidied

#: The check is run when nothing was typed for so many seconds.
PAUSE = 0.4
#: A file is read again so many seconds after the last letter.
SOON = 0.005
_SORTS = {
    Sort.KEYWORD: lsp.CompletionItemKind.Keyword,
    Sort.KIND: lsp.CompletionItemKind.Class,
    Sort.WORD: lsp.CompletionItemKind.EnumMember,
    Sort.UNIT: lsp.CompletionItemKind.Unit,
    Sort.TYPE: lsp.CompletionItemKind.Module,
    Sort.TERMINAL: lsp.CompletionItemKind.Field,
    Sort.NODE: lsp.CompletionItemKind.Variable,
    Sort.PART: lsp.CompletionItemKind.Struct,
    Sort.RULE: lsp.CompletionItemKind.Function,
    Sort.PARAMETER: lsp.CompletionItemKind.Property,
    Sort.FILE: lsp.CompletionItemKind.File,
    Sort.CONDITION: lsp.CompletionItemKind.Operator,
}


class ReworkServer(LanguageServer):
    """One editor's session: the open files, the marks shown in each, and sums as last saved."""

    def __init__(self) -> None:
        super().__init__("rework", __version__)
        self.files = Files()
        self.names = Names(self.files)
        self.marks: dict[Path, list[ColourMark]] = {}
        self.volts: dict[Path, HoverVolts] = {}
        self.edition = 0
        self._waiting: tuple[asyncio.TimerHandle, ...] = ()
        self._unread: set[Path] = set()
        self._sums: dict[Path, asyncio.subprocess.Process] = {}
        self._tasks: set[asyncio.Task[None]] = set()

    # files

    def take(self, uri: str) -> OpenText | None:
        """Take the text of a document from the editor and return it with its words."""
        path = _path(uri)
        self.edition += 1
        self.files.put(path, self.workspace.get_text_document(uri).source)
        return self.files.source(path)

    def source(self, uri: str) -> OpenText | None:
        """Return a document with its words."""
        return self.files.source(_path(uri))

    def at(
        self, document: lsp.TextDocumentIdentifier, position: lsp.Position
    ) -> tuple[OpenText, ScannedWord] | None:
        """Return the document and the word that a request is about."""
        source = self.source(document.uri)
        if source is None:
            return None
        word = word_at(source.words, position.line, self.column(source, position))
        return (source, word) if word else None

    # places: the protocol counts UTF-16 units, the language letters

    def column(self, source: OpenText, position: lsp.Position) -> int:
        """Return the column of a place in letters."""
        codec = self.workspace.position_codec
        return codec.position_from_client_units(source.lines, position).character

    def range_of(self, source: OpenText, spot: NameSpot) -> lsp.Range:
        """Return a place as the protocol counts it."""
        if spot.end < 0:
            return lsp.Range(lsp.Position(spot.line, 0), lsp.Position(spot.line + 1, 0))
        codec = self.workspace.position_codec
        return codec.range_to_client_units(
            source.lines,
            lsp.Range(lsp.Position(spot.line, spot.start), lsp.Position(spot.line, spot.end)),
        )

    def location(self, spot: NameSpot) -> lsp.Location:
        """Return a place in any file."""
        source = self.files.source(spot.path)
        range_ = (
            self.range_of(source, spot)
            if source
            else lsp.Range(lsp.Position(spot.line, spot.start), lsp.Position(spot.line, spot.end))
        )
        return lsp.Location(from_fs_path(str(spot.path)) or "", range_)

    def edits(self, edits: Iterable[tuple[NameSpot, str]]) -> lsp.WorkspaceEdit:
        """Return edits of several files."""
        changes: dict[str, list[lsp.TextEdit]] = {}
        for spot, text in edits:
            where = self.location(spot)
            changes.setdefault(where.uri, []).append(lsp.TextEdit(where.range, text))
        return lsp.WorkspaceEdit(changes=changes)

    # marks

    def tell(self, source: OpenText, marks: list[ColourMark]) -> None:
        """Show the marks of a file."""
        self.marks[source.path] = marks
        uri = from_fs_path(str(source.path)) or ""
        self.text_document_publish_diagnostics(
            lsp.PublishDiagnosticsParams(
                uri,
                version=self.workspace.get_text_document(uri).version,
                diagnostics=[
                    lsp.Diagnostic(
                        self.range_of(source, mark.spot),
                        mark.message,
                        severity=lsp.DiagnosticSeverity(mark.weight),
                        source="rework",
                    )
                    for mark in marks
                ],
            )
        )

    def changed(self, path: Path) -> None:
        """Show what reading tells of a file, and after a pause what the check finds.

        A question that came with the last letter is answered first.
        """
        for waiting in self._waiting:
            waiting.cancel()
        loop = asyncio.get_running_loop()
        self._unread.add(path)
        self._waiting = (
            loop.call_later(SOON, self._read),
            loop.call_later(PAUSE, self._check_soon),
        )

    def _read(self) -> None:
        while self._unread:
            path = self._unread.pop()
            source = self.files.source(path)
            if source is not None and path in self.files.open:
                self.tell(source, problem_marks(self.files, source))

    def _check_soon(self) -> None:
        task = asyncio.get_running_loop().create_task(self._checked())
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _checked(self) -> None:
        """Check every open circuit and job in a thread, unless something is typed meanwhile."""
        loop = asyncio.get_running_loop()
        edition = self.edition
        for path in list(self.files.open):
            source = self.files.source(path)
            if source is None or source.kind is FileKind.RULE:
                continue
            marks = await loop.run_in_executor(None, self._all_marks, source)
            if self.edition != edition:
                return
            self.tell(source, marks)

    def _all_marks(self, source: OpenText) -> list[ColourMark]:
        return unique([*problem_marks(self.files, source), *check_marks(self.files, source)])

    # sums

    def compute_soon(self, source: OpenText) -> None:
        """Begin to compute the volts of a circuit as it is on the disk."""
        if source.kind is FileKind.CIRCUIT and source.path.is_file():
            task = asyncio.get_running_loop().create_task(self._compute(source.path))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)

    def end_sums(self, *paths: Path) -> None:
        """End the sums of some circuits that still run; of all where none is named."""
        for path in paths or tuple(self._sums):
            process = self._sums.pop(path, None)
            if process is not None and process.returncode is None:
                process.kill()

    async def _compute(self, path: Path) -> None:
        """Compute the volts of a saved circuit in a process of its own; a newer one ends it."""
        self.end_sums(path)
        process = await asyncio.create_subprocess_exec(
            *(sys.executable, "-m", "rework", "volts", str(path), "--json", "--samples", "200"),
            stdin=asyncio.subprocess.DEVNULL,
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.DEVNULL,
        )
        self._sums[path] = process
        out, _ = await process.communicate()
        if process.returncode == 0 and self._sums.get(path) is process:
            self.volts[path] = _volts(json.loads(out))


def _path(uri: str) -> Path:
    return Path(to_fs_path(uri) or uri).resolve()


def _volts(answer: dict[str, Any]) -> HoverVolts:
    """Return the volts by node of the JSON of ``rework volts``."""
    rows = (answer.get("circuit") or {}).get("nodes", ())
    return HoverVolts({row["node"]: (row["volts"], row["low"], row["high"]) for row in rows})


server = ReworkServer()


@server.feature(lsp.TEXT_DOCUMENT_DID_OPEN)
def did_open(ls: ReworkServer, params: lsp.DidOpenTextDocumentParams) -> None:
    """Take a file that was opened."""
    source = ls.take(params.text_document.uri)
    if source is not None:
        ls.changed(source.path)
        ls.compute_soon(source)


@server.feature(lsp.TEXT_DOCUMENT_DID_CHANGE)
def did_change(ls: ReworkServer, params: lsp.DidChangeTextDocumentParams) -> None:
    """Take what was typed."""
    source = ls.take(params.text_document.uri)
    if source is not None:
        ls.changed(source.path)


@server.feature(lsp.TEXT_DOCUMENT_DID_SAVE)
def did_save(ls: ReworkServer, params: lsp.DidSaveTextDocumentParams) -> None:
    """Compute a circuit that was saved."""
    source = ls.source(params.text_document.uri)
    if source is not None:
        ls.compute_soon(source)


@server.feature(lsp.SHUTDOWN)
def shut_down(ls: ReworkServer, _: None) -> None:
    """End the sums that still run."""
    ls.end_sums()


@server.feature(lsp.TEXT_DOCUMENT_DID_CLOSE)
def did_close(ls: ReworkServer, params: lsp.DidCloseTextDocumentParams) -> None:
    """Forget a file that was closed: the disk has it."""
    path = _path(params.text_document.uri)
    ls.files.put(path, None)
    ls.marks.pop(path, None)
    ls.text_document_publish_diagnostics(lsp.PublishDiagnosticsParams(params.text_document.uri, []))


@server.feature(
    lsp.TEXT_DOCUMENT_COMPLETION,
    lsp.CompletionOptions(trigger_characters=[" ", ".", "=", ":", ",", "?"], resolve_provider=True),
)
def complete(ls: ReworkServer, params: lsp.CompletionParams) -> lsp.CompletionList:
    """Return what may be written at the cursor."""
    source = ls.source(params.text_document.uri)
    if source is None:
        return lsp.CompletionList(False, [])
    column = ls.column(source, params.position)
    offers = choices(ls.files, source, params.position.line, column)
    return lsp.CompletionList(
        False,
        [
            _item(ls, source, params.position.line, column, number, choice)
            for number, choice in enumerate(offers)
        ],
    )


def _item(
    ls: ReworkServer, source: OpenText, line: int, column: int, number: int, choice: Offer
) -> lsp.CompletionItem:
    typed = NameSpot(source.path, line, column - len(choice.typed), column)
    return lsp.CompletionItem(
        choice.text,
        kind=_SORTS[choice.sort],
        detail=choice.detail or None,
        sort_text=f"{number:04}",
        text_edit=lsp.TextEdit(ls.range_of(source, typed), choice.text),
        data={"sort": choice.sort.value, "folder": str(source.path.parent)},
    )


@server.feature(lsp.COMPLETION_ITEM_RESOLVE)
def resolve(item: lsp.CompletionItem) -> lsp.CompletionItem:
    """Return a choice with one line about it."""
    if isinstance(item.data, dict) and not item.detail:
        choice = Offer(item.label, Sort(item.data["sort"]))
        item.detail = described(choice, Path(item.data["folder"])) or None
    return item


@server.feature(lsp.TEXT_DOCUMENT_HOVER)
def hovered(ls: ReworkServer, params: lsp.HoverParams) -> lsp.Hover | None:
    """Return what is known of the word under the pointer."""
    spot = ls.at(params.text_document, params.position)
    if spot is None:
        return None
    source, word = spot
    text = hover(ls.files, source, word, ls.volts.get(source.path))
    if not text:
        return None
    place = NameSpot(source.path, word.line, word.start, word.end)
    return lsp.Hover(lsp.MarkupContent(lsp.MarkupKind.Markdown, text), ls.range_of(source, place))


@server.feature(lsp.TEXT_DOCUMENT_DEFINITION)
def definition(ls: ReworkServer, params: lsp.DefinitionParams) -> lsp.Location | None:
    """Return where a name is defined."""
    spot = ls.at(params.text_document, params.position)
    place = ls.names.definition(*spot) if spot else None
    return ls.location(place) if place else None


@server.feature(lsp.TEXT_DOCUMENT_REFERENCES)
def references(ls: ReworkServer, params: lsp.ReferenceParams) -> list[lsp.Location]:
    """Return every place that names the same."""
    spot = ls.at(params.text_document, params.position)
    return [ls.location(place) for place in ls.names.references(*spot)] if spot else []


@server.feature(lsp.TEXT_DOCUMENT_RENAME)
def rename(ls: ReworkServer, params: lsp.RenameParams) -> lsp.WorkspaceEdit | None:
    """Return the edits that give a node or part another name in every file."""
    spot = ls.at(params.text_document, params.position)
    if spot is None:
        return None
    try:
        return ls.edits(ls.names.renamed(*spot, params.new_name))
    except RenameRefused as refused:
        raise JsonRpcInvalidParams(str(refused)) from None


@server.feature(
    lsp.TEXT_DOCUMENT_CODE_ACTION,
    lsp.CodeActionOptions(code_action_kinds=[lsp.CodeActionKind.QuickFix]),
)
def fixes(ls: ReworkServer, params: lsp.CodeActionParams) -> list[lsp.CodeAction]:
    """Return what can be done about the marks in a range."""
    source = ls.source(params.text_document.uri)
    if source is None:
        return []
    lines = range(params.range.start.line, params.range.end.line + 1)
    marks = [mark for mark in ls.marks.get(source.path, ()) if mark.spot.line in lines]
    actions: dict[str, lsp.CodeAction] = {}
    for mark in marks:
        for fix in mark.fixes:
            actions.setdefault(fix.title, _action(ls, fix))
    return list(actions.values())


def _action(ls: ReworkServer, fix: Fix) -> lsp.CodeAction:
    return lsp.CodeAction(fix.title, kind=lsp.CodeActionKind.QuickFix, edit=ls.edits(fix.edits))


@server.feature(lsp.TEXT_DOCUMENT_FORMATTING)
def format_(ls: ReworkServer, params: lsp.DocumentFormattingParams) -> list[lsp.TextEdit]:
    """Return the file as ``rework tidy`` prints it; nothing where it cannot be read."""
    source = ls.source(params.text_document.uri)
    if source is None:
        return []
    text, _ = decode(source.text.encode(), str(source.path))
    even = tidied(text, str(source.path))[0] if text is not None else None
    if even is None or even == source.text:
        return []
    whole = lsp.Range(lsp.Position(0, 0), lsp.Position(len(source.lines), 0))
    return [lsp.TextEdit(whole, even)]


@server.feature(lsp.TEXT_DOCUMENT_FOLDING_RANGE)
def folding(ls: ReworkServer, params: lsp.FoldingRangeParams) -> list[lsp.FoldingRange]:
    """Return the sections of a file."""
    source = ls.source(params.text_document.uri)
    return [lsp.FoldingRange(first, last) for first, last in folds(source)] if source else []


@server.feature(lsp.TEXT_DOCUMENT_SEMANTIC_TOKENS_FULL, lsp.SemanticTokensLegend(list(LEGEND), []))
def tokens(ls: ReworkServer, params: lsp.SemanticTokensParams) -> lsp.SemanticTokens:
    """Return every word by what it is."""
    source = ls.source(params.text_document.uri)
    data: list[int] = []
    line = start = 0
    if source is None:
        return lsp.SemanticTokens(data)
    for row, column, length, shown in coloured(source):
        place = ls.range_of(source, NameSpot(source.path, row, column, column + length))
        at = place.start.character
        data += [row - line, at - start if row == line else at, place.end.character - at, shown, 0]
        line, start = row, at
    return lsp.SemanticTokens(data)


def serve() -> None:
    """Serve one editor on standard input and output until it says goodbye."""
    server.start_io()
