"""Every message that the program can print about a file or a set, with what to do about it.

They are read from the program itself: wherever a problem, a caution or a remedy is made, its words
stand in the call. Where a word comes from the file at hand, the manual prints ``…``.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
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

    def says(self) -> int:
        """Return how much is said about what to do: of one message made twice, the fuller stays."""
        return len(f"{self.expected}{self.remedy}".replace(GAP, ""))

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
                key = message.about, message.text
                by_text[key] = max(by_text.get(key, message), message, key=Message.says)
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
    module = _Scope()
    functions = _sort(tree, module)
    scopes = [module]
    by_name: dict[str, _Scope] = {}
    for function in functions:
        scope = by_name[function.name] = _Scope()
        scopes.append(scope)
        functions += _sort(function, scope)
    words = _Words(by_name)
    for scope in scopes:
        words.enter(scope)
        for call in scope.calls:
            if _name(call.func) in _MAKERS or _name(call.func) in _IN_ORDER:
                yield from _made(call, words, about)


@dataclass(slots=True)
class _Scope:
    """What is in a function, or in a module, but not in the functions in it, in the order of the
    text: the calls, what each name is given, and what is returned or yielded.
    """

    calls: list[ast.Call] = field(default_factory=list)
    assigned: dict[str, list[ast.expr]] = field(default_factory=dict)
    returned: list[ast.expr] = field(default_factory=list)


def _sort(node: ast.AST, scope: _Scope) -> list[ast.FunctionDef]:
    """Put all below this node into the scope, and return the functions, which have their own."""
    functions: list[ast.FunctionDef] = []
    for child in ast.iter_child_nodes(node):
        match child:
            case ast.FunctionDef():
                functions.append(child)
                continue
            case ast.Name() | ast.Constant():
                continue
            case ast.Call():
                scope.calls.append(child)
            case ast.Assign(targets=targets, value=value):
                for target in targets:
                    if isinstance(target, ast.Name):
                        scope.assigned.setdefault(target.id, []).append(value)
            case ast.Return(value=ast.expr() as value) | ast.Yield(value=ast.expr() as value):
                scope.returned.append(value)
        functions += _sort(child, scope)
    return functions


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

    def __init__(self, functions: dict[str, _Scope]) -> None:
        self._functions = functions
        self._assigned: dict[str, list[ast.expr]] = {}
        self._asked: list[str] = []

    def enter(self, scope: _Scope) -> None:
        """Look names up in this function from now on."""
        self._assigned = scope.assigned

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
        texts = self._looked_up(name, function.returned)
        self._assigned = outer
        return texts
