"""What may stand where the cursor is: kinds, words, units, tube types, pins, nodes, rules."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from rework.circuit.kinds import KINDS, OF_A_WINDING, WINDING_NAMES, Form, Kind
from rework.circuit.switches import style_of
from rework.language.headkind import HALF_KINDS
from rework.language.leading_words import ROLES, SETTINGS, roles_of
from rework.language.nouns import NO_NOUN, noun_in
from rework.language.spellings import KIND_NAMES
from rework.language.units import BARE
from rework.lsp.files import Files, OpenText
from rework.lsp.scan import KEYWORDS, FileKind, Token, statements
from rework.lsp.symbols import Names
from rework.rules.catalogue import available, load
from rework.rules.verbs import MEANS, SHAPES
from rework.rules.vocabulary import words as conditions
from rework.tubes import library


class Sort(StrEnum):
    """What a choice is, for the sign an editor shows beside it."""

    KEYWORD = "keyword"
    KIND = "kind"
    WORD = "word"
    UNIT = "unit"
    TYPE = "type"
    TERMINAL = "terminal"
    NODE = "node"
    PART = "part"
    RULE = "rule"
    PARAMETER = "parameter"
    FILE = "file"
    CONDITION = "condition"


@dataclass(frozen=True, slots=True)
class Offer:
    """One word that may be written: in the place of the ``typed`` letters before the cursor."""

    text: str
    sort: Sort
    detail: str = ""
    typed: str = ""


#: What each statement is for.
SAYS = {
    "circuit": "the title of a circuit; in a job, the file of the set",
    "mains": "the line: volts and hertz, or DC",
    "touchable": "nodes that a person can touch",
    "port": "the name by which another file connects to a node",
    "open": "nodes that end in the air, and are meant to",
    "blank": "nodes that are not traced yet: check lists them",
    "join": "two names of one node",
    "attach": "another circuit, connected by its ports",
    "job": "the title of the job",
    "apply": "run a rule",
    "reading": "what the meter showed",
    "labour": "hours, and what one costs",
    "worth": "what the set is worth once it works",
    "prices": "the stock list with the prices",
    "customer": "a sentence for the customer's page",
    "unused": "terminals that go nowhere",
}
_MAINS = ("117 V 60 Hz", "120 V 60 Hz", "220 V 50 Hz", "230 V 50 Hz", "220 V DC")
#: Units offered behind a number, by dimension, the commonest first.
_COMMON_UNITS = {
    "resistance": ("k", "ohm", "M"),
    "capacitance": ("uF", "nF", "pF", "n", "p", "u"),
    "inductance": ("H", "mH"),
    "voltage": ("V", "mV"),
    "current": ("mA", "A"),
    "power": ("W",),
    "apparent-power": ("VA",),
    "fraction": ("%",),
    "length": ("mm",),
    "area": ("mm2",),
    "gauge": ("AWG",),
    "turns": ("turns",),
    "frequency": ("Hz",),
}


def choices(files: Files, source: OpenText, line: int, column: int) -> list[Offer]:
    """Return what may be written at a place of a file, best first."""
    place = _place(source, line, column)
    if place is None:
        return []
    before, typed = place
    ask = _Ask(files, source, tuple(before), typed)
    offers = {
        FileKind.CIRCUIT: ask.circuit,
        FileKind.JOB: ask.job,
        FileKind.RULE: ask.rule,
    }[source.kind]()
    return [Offer(offer.text, offer.sort, offer.detail, typed) for offer in _unique(offers)]


def _unique(offers: Iterable[Offer]) -> list[Offer]:
    return list({(offer.text, offer.sort): offer for offer in offers}.values())


def _place(source: OpenText, line: int, column: int) -> tuple[list[Token], str] | None:
    """Return the words of the statement before a place, and the letters of the one begun there;
    None inside a remark or a text.
    """
    for statement in statements(source.text, source.kind):
        if not statement.line <= line < statement.end:
            continue
        comment = statement.comment
        if comment is not None and comment.line == line and comment.start < column:
            return None
        before = [token for token in statement.tokens if (token.line, token.start) < (line, column)]
        last = before[-1] if before else None
        text = source.lines[line][:column]
        if text.count('"') % 2:
            opening = text.rindex('"')
            before = [token for token in before if token.line < line or token.start < opening]
            return before, text[opening:]
        if last is not None and last.line == line and column <= last.end and _is_word(last):
            return before[:-1], last.text[: column - last.start]
        return before, ""
    return [], ""


def _is_word(token: Token) -> bool:
    return token.type in ("WORD", "TYPE", "NUMBER", "VALUE", "VARIABLE", "PARAMETER")


class _Ask:
    """One question: the words before the cursor in their statement, and the letters begun."""

    def __init__(
        self, files: Files, source: OpenText, before: tuple[Token, ...], typed: str
    ) -> None:
        self.files, self.source, self.before, self.typed = files, source, before, typed
        self.texts = tuple(token.text for token in before)
        self.folder = source.path.parent

    # a circuit

    def circuit(self) -> Iterator[Offer]:
        """Yield what may be written in a circuit."""
        texts = self.texts
        if not texts:
            yield from self._first_words()
        elif texts[0] == "mains":
            yield from (Offer(text, Sort.WORD) for text in _MAINS if len(texts) == 1)
        elif texts[0] == "attach":
            yield from self._attach_words(self.source)
        elif texts[0] == "port":
            yield from self._nodes(self.source) if texts[-1] == "=" else ()
        elif texts[0] in KEYWORDS[FileKind.CIRCUIT]:
            yield from self._nodes(self.source)
        elif ":" in texts:
            yield from self._connection()
        elif len(texts) == 1:
            yield from self._kinds("")
        else:
            yield from self._head()

    def _first_words(self) -> Iterator[Offer]:
        for word in KEYWORDS[self.source.kind]:
            yield Offer(word, Sort.KEYWORD, SAYS.get(word, ""))
        if self.source.kind is FileKind.CIRCUIT:
            for letter in "RCVTSJ":
                taken = self.source.part_kinds
                number = next(n for n in range(1, len(taken) + 2) if f"{letter}{n}" not in taken)
                yield Offer(f"{letter}{number}", Sort.PART, "the next free name")

    @staticmethod
    def _kinds(half: str) -> Iterator[Offer]:
        """Yield the kinds of part; the second words of those that begin with ``half``."""
        for name, kind in KINDS.items():
            if not half:
                yield Offer(name, Sort.KIND, kind.says)
            elif name.startswith(f"{half} "):
                yield Offer(name.removeprefix(f"{half} "), Sort.KIND, kind.says)
        for name, (meant, _) in () if half else KIND_NAMES.items():
            yield Offer(name, Sort.KIND, f"read as {meant}")

    def _head(self) -> Iterator[Offer]:
        """Yield what may stand behind a kind."""
        noun = noun_in(self.texts[1:]) or NO_NOUN
        count, kind, last = noun.end, KINDS.get(noun.kind), self.texts[-1]
        if len(self.texts) == 2 and self.texts[1] in HALF_KINDS:
            yield from self._kinds(self.texts[1])
        if kind is None:
            return
        if last in SETTINGS:
            yield from self._setting(kind, last)
        elif kind.name == "tube":
            if len(self.texts) == 1 + count:
                yield from tube_types()
                yield Offer("unlisted", Sort.WORD, "a type that the library has not")
        elif re.fullmatch(r"[0-9.]+[a-zA-Z]*", self.typed):
            yield from self._values(kind.dimensions)
        else:
            yield from (Offer(word, Sort.WORD) for word in sorted(kind.words))
            yield from (Offer(word, Sort.KEYWORD) for word in sorted(kind.settings))
            for word in roles_of(kind):
                yield Offer(word, Sort.KEYWORD, f"a {ROLES[word]} follows")

    def _setting(self, kind: Kind, word: str) -> Iterator[Offer]:
        """Yield what may follow ``on``, ``class``, ``in`` and the like."""
        wanted = {"on": ("pot",), "mates": ("connector",), "ganged": ("switch", "pot")}
        if word in wanted:
            for name, other in self.source.part_kinds.items():
                if other in wanted[word] and name != self.texts[0]:
                    yield Offer(name, Sort.PART, other)
        elif word == "class":
            yield from (Offer(name, Sort.WORD) for name in kind.classes)
        elif word == "in" and kind.is_switch:
            positions = style_of(self.texts).positions
            yield from (Offer(name, Sort.WORD, "a position") for name in positions)

    def _values(self, dimensions: Iterable[str]) -> Iterator[Offer]:
        """Yield the number begun with every unit that it may have here."""
        number = re.match(r"[0-9.]+", self.typed)
        if number is None:
            return
        for dimension in dimensions:
            for unit in _COMMON_UNITS.get(dimension, ()):
                joined = unit == "%" or unit in BARE.get(dimension, ())
                text = f"{number.group()}{'' if joined else ' '}{unit}"
                yield Offer(text, Sort.UNIT, dimension.replace("-", " "))

    def _connection(self) -> Iterator[Offer]:
        """Yield what may stand behind the colon of a part."""
        kind = KINDS.get((noun_in(self.texts[1:]) or NO_NOUN).kind)
        start = max(i for i, text in enumerate(self.texts) if text in (":", ","))
        connection = self.texts[start + 1 :]
        if "." in self.typed:
            yield from self._terminals_of(self.typed.partition(".")[0], dotted=True)
        elif connection and connection[-1] in ("=", "--"):
            yield from self._nodes(self.source)
        elif connection and connection[0] == "unused":
            yield from self._terminals_of(self.texts[0], dotted=False)
        elif kind is None:
            return
        elif kind.form in (Form.WINDINGS, Form.CORES):
            if connection:
                yield from self._of_a_winding()
            else:
                yield from (Offer(name, Sort.TERMINAL) for name in WINDING_NAMES)
        elif not connection:
            if kind.form in (Form.TWO, Form.ONE, Form.POLES):
                yield from self._nodes(self.source)
            if kind.form is Form.PINS:
                yield from self._terminals_of(self.texts[0], dotted=False)
            else:
                yield from (Offer(name, Sort.TERMINAL) for name in kind.optional)
            yield Offer("unused", Sort.KEYWORD, SAYS["unused"])

    def _of_a_winding(self) -> Iterator[Offer]:
        if re.match(r"[0-9.]+", self.typed):
            yield from self._values(OF_A_WINDING)
        else:
            yield from (Offer(word, Sort.KEYWORD) for word in ("load", "dcr", "tap", "leakage"))

    def _terminals_of(self, name: str, *, dotted: bool) -> Iterator[Offer]:
        """Yield the terminals of a part by number and element; only those that its line has not yet
        named, unless a reference (``V1.``) is written.
        """
        stated = self._told(name) if not dotted else frozenset()
        stem = f"{name}." if dotted else ""
        kind_name, type_ = self._kind_and_type(name)
        tube = library.find(type_) if kind_name == "tube" else None
        if tube is not None:
            bound = {pin for word in stated for pin in tube.pins_of(word)} | stated
            for element in tube.element_names():
                pins = tube.pins_of(element)
                if not bound & set(pins):
                    yield Offer(f"{stem}{element}", Sort.TERMINAL, f"pin {', '.join(pins)}")
            for pin, carried in tube.elements:
                if pin not in bound:
                    yield Offer(f"{stem}{pin}", Sort.TERMINAL, " and ".join(carried))
            return
        kind = KINDS.get(kind_name)
        names = (*kind.terminals, *kind.optional) if kind else ()
        if kind is not None and kind.form is Form.POLES:
            poles = style_of(self._head_of(name)).contacts
            names = (*(terminal for pole in poles for terminal in pole), *names)
        yield from (
            Offer(f"{stem}{terminal}", Sort.TERMINAL, kind_name)
            for terminal in names
            if terminal not in stated
        )

    def _told(self, name: str) -> frozenset[str]:
        """Return the terminals that the line of a part names before the cursor."""
        texts = self.texts[self.texts.index(":") + 1 :] if ":" in self.texts else ()
        heads = {text for text, after in itertools.pairwise(texts) if after == "="}
        if "unused" in texts:
            heads |= set(texts[texts.index("unused") + 1 :])
        return frozenset(heads) if name == self.texts[0] else frozenset()

    def _kind_and_type(self, name: str) -> tuple[str, str]:
        head = self._head_of(name)
        noun = noun_in(head) or NO_NOUN
        return noun.kind, next(iter(head[noun.end :]), "").strip('"')

    def _head_of(self, name: str) -> tuple[str, ...]:
        """Return the words between the name of a part and its colon."""
        if self.texts and self.texts[0] == name and self.source.kind is FileKind.CIRCUIT:
            texts = self.texts[1:]
        else:
            home = Names(self.files).home_of(self.source)
            if home is None:
                return ()
            named = (s for s in statements(home.text, home.kind) if s.keyword == name)
            statement = next(named, None)
            texts = tuple(token.text for token in statement.tokens[1:]) if statement else ()
        return texts[: texts.index(":")] if ":" in texts else texts

    def _nodes(self, source: OpenText) -> Iterator[Offer]:
        if "." in self.typed:
            yield from self._terminals_of(self.typed.partition(".")[0], dotted=True)
            return
        yield from (Offer(node, Sort.NODE) for node in source.nodes)
        for name, kind in source.part_kinds.items():
            yield Offer(f"{name}.", Sort.PART, f"a terminal of this {kind or 'part'}")

    # a job

    def job(self) -> Iterator[Offer]:
        """Yield what may be written in a job."""
        texts = self.texts
        home = Names(self.files).home_of(self.source)
        if not texts:
            yield from self._first_words()
        elif texts[0] in ("circuit", "prices"):
            suffix = "circuit" if texts[0] == "circuit" else "csv"
            yield from self._files(suffix) if len(texts) == 1 else ()
        elif texts[0] == "attach":
            yield from self._attach_words(home)
        elif texts[0] == "reading" and len(texts) == 1 and home is not None:
            yield from self._nodes(home)
        elif texts[0] == "apply":
            yield from self._apply(home)

    def _files(self, suffix: str) -> Iterator[Offer]:
        for path in sorted(self.folder.glob(f"*.{suffix}")):
            if path != self.source.path:
                yield Offer(f'"{path.name}"', Sort.FILE)

    def _attach_words(self, home: OpenText | None) -> Iterator[Offer]:
        """Yield files, then ``as``, then the ports of the file, then nodes."""
        texts = self.texts
        if len(texts) == 1:
            yield from self._files("circuit")
        elif len(texts) == 2:
            yield Offer("as", Sort.KEYWORD)
        elif ":" in texts and texts[-1] in (":", ","):
            circuit, _ = self.files.circuit(self.folder / texts[1].strip('"'))
            given = set(texts)
            for port, node in circuit.ports if circuit else ():
                if port not in given:
                    yield Offer(port, Sort.TERMINAL, f"its node {node}")
        elif texts[-1] == "=" and home is not None:
            yield from self._nodes(home)

    def _apply(self, home: OpenText | None) -> Iterator[Offer]:
        """Yield rules, then the parameters of the one named, then what a parameter may be."""
        texts = self.texts
        if len(texts) == 1:
            yield from (Offer(name, Sort.RULE) for name in available(self.folder))
            return
        rule, _ = load(texts[1], self.folder)
        if rule is None or ":" not in texts:
            return
        if texts[-1] in (":", ","):
            given = {text for text, after in itertools.pairwise(texts) if after == "="}
            for parameter in rule.parameters:
                if parameter.name not in given:
                    default = parameter.default
                    use = "has to be given" if default is None else f"else {default}"
                    yield Offer(parameter.name, Sort.PARAMETER, use)
        elif texts[-1] == "=":
            if texts[-2] == "type":
                yield from tube_types()
            if home is not None:
                yield from (Offer(name, Sort.PART, kind) for name, kind in home.part_kinds.items())
                yield from (Offer(node, Sort.NODE) for node in home.nodes)

    # a rule

    def rule(self) -> Iterator[Offer]:
        """Yield what may be written in a rule."""
        texts = self.texts
        if not texts:
            yield from (Offer(word, Sort.KEYWORD) for word in KEYWORDS[FileKind.RULE])
            yield from (
                Offer(verb, Sort.KEYWORD, MEANS[verb]) for verb in (*SHAPES, "fit", "run", "insert")
            )
        elif texts[0] in ("where", "need"):
            yield from (
                Offer(phrase.removeprefix("_ ").replace("_", "?"), Sort.CONDITION, says)
                for phrase, says in conditions()
                if phrase.startswith("_ ")
            )
        elif texts[0] == "sure":
            from rework.rules.rule import SURENESS

            yield from (Offer(f'"{word}"', Sort.WORD) for word in SURENESS)
        elif texts[0] == "for":
            yield Offer("each", Sort.KEYWORD)
        elif texts[0] == "find":
            yield Offer("one", Sort.KEYWORD)
        elif self.before[-1].type == "VARIABLE" and ":" not in texts:
            yield from self._kinds("")
        yield from (
            Offer(name, Sort.NODE)
            for name in sorted(
                {
                    word.text.partition(".")[0]
                    for word in self.source.words
                    if word.role == "variable"
                }
            )
        )


def tube_types() -> Iterator[Offer]:
    """Yield every tube type of the library, those without a basing last."""
    yield from (Offer(name, Sort.TYPE) for name in library.types())
    for known in library.types_without_basing():
        yield Offer(known.type, Sort.TYPE, "only its heater is known")


def described(choice: Offer, folder: Path | None = None) -> str:
    """Return one line about a tube type or a rule that was chosen: what is looked up only when an
    editor shows it.
    """
    if choice.sort is Sort.TYPE and (tube := library.find(choice.text)) is not None:
        heater = tube.heater
        return f"{tube.kind}, {heater.volts.value:g} V {heater.amps.value:g} A, {tube.base}"
    if choice.sort is Sort.RULE:
        rule, _ = load(choice.text, folder)
        return rule.says if rule else ""
    return choice.detail
