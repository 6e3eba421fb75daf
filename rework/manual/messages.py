"""Every message that the program can print about a file or a set, with what to do about it.

They are read from the program itself: wherever a problem, a caution or a remedy is made, its words
stand in the call. Where a word comes from the file at hand, the manual prints ``…``.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

_ROOT = Path(__file__).parents[1]
#: What the calls that make a message are named.
_MAKERS = frozenset(
    {
        "Problem",
        "report",
        "add",
        "fault",
        "tell",
        "replace",
        "warn",
        "Caution",
        "CannotDo",
        "NoSuchElement",
        "NothingToDo",
        "QuantityError",
        "EditError",
    }
)
#: Calls of which each text has its place, or each argument where there are empty ones among them.
_IN_ORDER = {
    "Explanation": ("message", "expected", "hint"),
    "NoTerminal": ("message", "expected", "hint"),
    "Mistake": ("", "message", "expected", "hint"),
    "_Loose": ("message", "hint"),
    "_unreadable": ("message", "", "", "", "expected", "hint"),
}
#: Rooms by what their messages are about.
_ABOUT = {
    "language": "reading a file",
    "circuit": "reading a file",
    "tubes": "tubes",
    "rules": "rules and jobs",
    "safety": "the mains check",
    "supply": "designing a supply",
    "solve": "computing volts",
    "faultfinding": "finding a fault",
    "papers": "papers",
    "commands": "commands",
    "cli": "commands",
    "page": "commands",
    "lsp": "commands",
}
#: What stands for a word from the file at hand.
GAP = "…"
#: So many ways to word one message are listed.
_CHOICES = 12
#: What the manual says where a remedy is worked out from the file at hand.
PROPOSED = "The message proposes one."
#: A message shorter than this says nothing without what is put into it.
_SHORTEST = 8


@dataclass(frozen=True, slots=True)
class Message:
    """A message as a pattern: ``…`` for what comes from the file at hand."""

    about: str
    text: str
    expected: str
    remedy: str

    def fits(self, printed: str) -> bool:
        """Say whether a message that was printed is this one."""
        pieces = [re.escape(piece.strip()) for piece in self.text.split(GAP)]
        return re.search(r".*?".join(pieces), printed) is not None


@cache
def messages() -> tuple[Message, ...]:
    """Return every message once, by what it is about and its first word."""
    by_text: dict[tuple[str, str], Message] = {}
    for path in sorted(_ROOT.rglob("*.py")):
        room = path.relative_to(_ROOT).parts[0].removesuffix(".py")
        if room in _ABOUT:
            for message in _of_module(path, _ABOUT[room]):
                by_text.setdefault((message.about, message.text), message)
    order = list(dict.fromkeys(_ABOUT.values()))
    return tuple(
        sorted(
            by_text.values(), key=lambda message: (order.index(message.about), message.text.lower())
        )
    )


def like(printed: str) -> tuple[Message, ...]:
    """Return the messages that a printed one can be, the longest pattern first."""
    printed = " ".join(printed.split())
    near = [message for message in messages() if message.fits(printed)]
    return tuple(sorted(near, key=lambda message: -len(message.text)))


def _of_module(path: Path, about: str) -> Iterator[Message]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    functions = {node.name: node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
    words = _Words(functions)
    for scope in (tree, *functions.values()):
        words.enter(scope)
        for node in _inside(scope):
            if isinstance(node, ast.Call) and _name(node.func) in (_MAKERS | _IN_ORDER.keys()):
                yield from _made(node, words, about)


def _inside(scope: ast.AST) -> Iterator[ast.AST]:
    """Yield what is in a function, or in a module, but not in the functions in it."""
    for child in ast.iter_child_nodes(scope):
        if not isinstance(child, ast.FunctionDef):
            yield child
            yield from _inside(child)


def _made(call: ast.Call, words: _Words, about: str) -> Iterator[Message]:
    """Yield the messages of one call: a choice of words makes several."""
    keywords = {keyword_.arg: keyword_.value for keyword_ in call.keywords if keyword_.arg}
    given = call.args
    order = _IN_ORDER.get(_name(call.func), ())
    placed = (
        call.args if "" in order else [argument for argument in call.args if words.of(argument)]
    )
    keywords |= dict(zip(order, placed, strict=False))
    if "message" in keywords:
        given = [keywords["message"]]
    texts = [text for node in given for text in words.of(node)]
    expected = " / ".join(words.of(keywords.get("expected")))
    asked = keywords.get("hint", keywords.get("remedies"))
    remedy = " / ".join(words.of(asked))
    if (asked is not None or "near" in keywords) and not remedy.strip(f"{GAP}. /"):
        remedy = PROPOSED
    for text in texts:
        if len(text.replace(GAP, "").strip()) >= _SHORTEST and " " in text:
            yield Message(about, text, expected, remedy)


def _name(node: ast.expr) -> str:
    match node:
        case ast.Name(id=name) | ast.Attribute(attr=name):
            return name
    return ""


class _Words:
    """The words of expressions of one module; names are looked up in the function at hand."""

    def __init__(self, functions: dict[str, ast.FunctionDef]) -> None:
        self._functions = functions
        self._assigned: dict[str, list[ast.expr]] = {}
        self._asked: list[str] = []

    def enter(self, scope: ast.AST) -> None:
        """Look names up in this function from now on."""
        self._assigned = {}
        for node in _inside(scope):
            if isinstance(node, ast.Assign):
                for target in node.targets:
                    if isinstance(target, ast.Name):
                        self._assigned.setdefault(target.id, []).append(node.value)

    def of(self, node: ast.expr | None) -> list[str]:
        """Return the texts that an expression can be, ``…`` for each value in them."""
        match node:
            case ast.Constant(value=str(text)):
                return [text]
            case ast.JoinedStr(values):
                return ["".join(map(self._piece, values))]
            case ast.BinOp(left=left, op=ast.Add(), right=right):
                ends = self.of(right) or [GAP]
                return [start + end for start in self.of(left) or [GAP] for end in ends][:_CHOICES]
            case ast.Lambda(body=body):
                return self.of(body)
            case ast.IfExp(body=body, orelse=other):
                return [*self.of(body), *self.of(other)]
            case ast.Tuple(elts=items) | ast.List(elts=items):
                return [text for item in items for text in self.of(item)]
            case ast.Name(id=name):
                return self._looked_up(name, self._assigned.get(name, []))
            case ast.Call(func=func, args=arguments):
                return self._called(_name(func), arguments)
        return []

    def _piece(self, node: ast.expr) -> str:
        return str(node.value) if isinstance(node, ast.Constant) else GAP

    def _looked_up(self, name: str, values: list[ast.expr]) -> list[str]:
        if name in self._asked:
            return []
        self._asked.append(name)
        texts = [text for value in values for text in self.of(value)]
        self._asked.pop()
        return texts[:_CHOICES]

    def _called(self, name: str, arguments: list[ast.expr]) -> list[str]:
        function = self._functions.get(name)
        if function is None:
            return [text for argument in arguments for text in self.of(argument) if " " in text]
        if name in self._asked:
            return []
        outer = self._assigned
        self.enter(function)
        returned = [
            node.value
            for node in _inside(function)
            if isinstance(node, ast.Return | ast.Yield) and node.value is not None
        ]
        texts = self._looked_up(name, returned)
        self._assigned = outer
        return texts
