"""A rule as a value: what its file says, read and understood, before it meets a circuit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rework.circuit.place import Place

#: How sure a rule is of itself, in the words a rule file uses.
SURENESS = ("bookkeeping", "changes voltages", "needs a measurement first")


@dataclass(frozen=True, slots=True)
class Term:
    """One word of a pattern, a condition or an action.

    ``text`` is the word without its ``?`` or braces; ``pin`` is what stood after a full stop:
    ``?V.plate`` has text ``V`` and pin ``plate``. A plain name keeps its full stop in ``text``.
    """

    form: Literal["variable", "parameter", "word"]
    text: str
    pin: str = ""

    def __str__(self) -> str:
        shown = {"variable": f"?{self.text}", "parameter": f"{{{self.text}}}", "word": self.text}[
            self.form
        ]
        return f"{shown}.{self.pin}" if self.pin else shown


@dataclass(frozen=True, slots=True)
class PatternEnd:
    """One connection of a pattern: the terminals it may be (none: by position) and the node that
    must be there.
    """

    terminals: tuple[str, ...]
    node: Term


@dataclass(frozen=True, slots=True)
class PartPattern:
    """One part that must be there: its name, the kinds it may be, what it must say of itself, and
    its connections.
    """

    name: Term
    kinds: tuple[str, ...]
    attributes: tuple[Term, ...]
    ends: tuple[PatternEnd, ...]
    text: str
    place: Place


@dataclass(frozen=True, slots=True)
class Phrase:
    """One condition, such as ``?m is mains-tied``, as the words of the vocabulary and what stands
    in their gaps.
    """

    predicate: str
    operands: tuple[Term, ...]
    denied: bool
    text: str


@dataclass(frozen=True, slots=True)
class All:
    """Conditions joined by ``and``."""

    members: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class AnyOf:
    """Conditions joined by ``or``."""

    members: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class Not:
    """A condition that must not hold."""

    member: Condition


Condition = Phrase | All | AnyOf | Not


@dataclass(frozen=True, slots=True)
class Need:
    """A condition without which the rule refuses, and what it says then."""

    condition: Condition
    otherwise: str
    text: str
    place: Place


@dataclass(frozen=True, slots=True)
class RuleStep:
    """One edit as the rule file asks for it: the verb, its words, and the raw text of a part line
    after ``fit`` or ``run``.
    """

    verb: str
    terms: tuple[Term, ...]
    text: str
    place: Place


@dataclass(frozen=True, slots=True)
class Pass:
    """One search and what is done about what it finds.

    ``quantifier`` is ``for each`` (every match), ``find one`` (exactly one) or ``once`` (no
    pattern). ``missing`` is the reason given where nothing matches; without it nothing is done.
    """

    quantifier: str
    missing: str
    patterns: tuple[PartPattern, ...]
    unless: tuple[tuple[PartPattern, ...], ...]
    where: tuple[Condition, ...]
    where_text: tuple[str, ...]
    needs: tuple[Need, ...]
    steps: tuple[RuleStep, ...]
    cautions: tuple[str, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Parameter:
    """A word the job may give a rule; ``default`` is None where the job must give it."""

    name: str
    default: str | None


@dataclass(frozen=True, slots=True)
class Example:
    """A circuit before, the arguments, and one of: the circuit after, a part of the refusal, or
    nothing to do.
    """

    arguments: tuple[tuple[str, str], ...]
    before: str
    after: str | None
    refusal: str | None
    place: Place


@dataclass(frozen=True, slots=True)
class Rule:
    """A named rework rule with everything its manual prints, and the text of its file."""

    name: str
    says: str
    why: tuple[str, ...]
    sure: str
    limits: tuple[str, ...]
    parameters: tuple[Parameter, ...]
    passes: tuple[Pass, ...]
    examples: tuple[Example, ...]
    file: str
    source: str = ""
