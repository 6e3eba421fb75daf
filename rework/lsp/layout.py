"""The shape of a file for an editor: sections that fold, and words by what they are."""

from __future__ import annotations

from collections.abc import Iterator

from rework.lsp.files import OpenText
from rework.lsp.scan import FileKind, statements
from rework.lsp.words import WordRole

#: Standard kinds of word that editors have colours for, and what of ours is shown as each.
LEGEND = (
    "keyword",
    "class",
    "variable",
    "property",
    "type",
    "enumMember",
    "number",
    "string",
    "comment",
    "function",
    "parameter",
    "namespace",
    "macro",
)
_SHOWN = {
    WordRole.KEYWORD: "keyword",
    WordRole.PART: "class",
    WordRole.NODE: "variable",
    WordRole.ARGUMENT: "variable",
    WordRole.TERMINAL: "property",
    WordRole.WINDING: "property",
    WordRole.KIND: "type",
    WordRole.TYPE: "macro",
    WordRole.WORD: "enumMember",
    WordRole.CONDITION: "enumMember",
    WordRole.VALUE: "number",
    WordRole.TEXT: "string",
    WordRole.REMARK: "comment",
    WordRole.FILE: "string",
    WordRole.RULE: "function",
    WordRole.PARAMETER: "parameter",
    WordRole.VARIABLE: "parameter",
    WordRole.PORT: "namespace",
}


def coloured(source: OpenText) -> Iterator[tuple[int, int, int, int]]:
    """Yield line, column, length and place in the legend of every word, in the order of the file;
    parts behind a # are remarks.
    """
    words = sorted(source.words, key=lambda word: (word.line, word.start))
    for word in words:
        shown = "comment" if word.struck else _SHOWN[word.role]
        yield word.line, word.start, word.end - word.start, LEGEND.index(shown)


def folds(source: OpenText) -> Iterator[tuple[int, int]]:
    """Yield first and last line of what folds: sections between blank lines that begin with a
    remark, statements of several lines, passes and examples of a rule.
    """
    start: int | None = None
    for number, line in enumerate([*source.lines, ""]):
        bare = line.strip()
        if start is None and bare.startswith(("#", "for each", "find one", "once", "example")):
            start = number
        elif not bare and start is not None:
            if number - 1 > start:
                yield start, number - 1
            start = None
    if source.kind is FileKind.CIRCUIT:
        for statement in statements(source.text, source.kind):
            if statement.end - statement.line > 1 and statement.tokens:
                yield statement.line, statement.end - 1
