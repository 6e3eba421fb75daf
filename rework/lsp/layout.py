"""The shape of a file for an editor: sections that fold, and words by what they are."""

from __future__ import annotations

from collections.abc import Iterator

from rework.lsp.files import Source
from rework.lsp.scan import FileKind, statements
from rework.lsp.words import Role

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
    Role.KEYWORD: "keyword",
    Role.PART: "class",
    Role.NODE: "variable",
    Role.ARGUMENT: "variable",
    Role.TERMINAL: "property",
    Role.WINDING: "property",
    Role.KIND: "type",
    Role.TYPE: "macro",
    Role.WORD: "enumMember",
    Role.CONDITION: "enumMember",
    Role.VALUE: "number",
    Role.TEXT: "string",
    Role.REMARK: "comment",
    Role.FILE: "string",
    Role.RULE: "function",
    Role.PARAMETER: "parameter",
    Role.VARIABLE: "parameter",
    Role.PORT: "namespace",
}


def coloured(source: Source) -> Iterator[tuple[int, int, int, int]]:
    """Yield line, column, length and place in the legend of every word, in the order of the file;
    parts behind a # are remarks.
    """
    words = sorted(source.words, key=lambda word: (word.line, word.start))
    for word in words:
        shown = "comment" if word.struck else _SHOWN[word.role]
        yield word.line, word.start, word.end - word.start, LEGEND.index(shown)


def folds(source: Source) -> Iterator[tuple[int, int]]:
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
        for one in statements(source.text, source.kind):
            if one.end - one.line > 1 and one.tokens:
                yield one.line, one.end - 1
