"""The answers of ``apply``, ``diff``, ``rules`` and ``kinds``."""

from __future__ import annotations

from dataclasses import dataclass

from rework.circuit.circuit import Mains
from rework.circuit.edits import Edit
from rework.circuit.kinds import Kind
from rework.commands.answers.shape import shaped
from rework.compare.entries import (
    Difference,
    Merge,
    Opening,
    PartChange,
    PinMove,
    PortMoved,
    Reversal,
    Split,
    TubeExchange,
)
from rework.compare.sentences import OtherNames
from rework.rules import rewrite
from rework.rules.manual import as_json
from rework.rules.rule import Rule
from rework.rules.run import JobRun, StepTaken
from rework.rules.words import edit_name, edit_words


@dataclass(frozen=True, slots=True)
class MadeEdit:
    """One edit: its kind (``what``), its words, and the rule, reason and line it came from."""

    what: str
    words: str
    rule: str
    reason: str
    place: str


@dataclass(frozen=True, slots=True)
class StepAnswer:
    """One step of the job: ``outcome`` is ``applied`` or ``nothing to do`` (with its reason)."""

    text: str
    says: str
    outcome: str
    reason: str
    edits: tuple[MadeEdit, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AppliedAnswer:
    """A job that was run: its steps, what the check says of the result, and the result's text."""

    job: str
    steps: tuple[StepAnswer, ...]
    verdict: str
    circuit: str


@dataclass(frozen=True, slots=True)
class PartAnswer:
    """A part: its values as written, its pins by terminal."""

    part: str
    kind: str
    type: str
    values: tuple[str, ...]
    words: tuple[str, ...]
    pins: dict[str, str]


@dataclass(frozen=True, slots=True)
class MainsChange:
    """The line before and after; null is not stated."""

    before: Mains | None
    after: Mains | None


@dataclass(frozen=True, slots=True)
class Texts:
    """A text before and after."""

    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Changes:
    """What differs between two circuits; ``renamed`` nodes and ``other_names`` of parts do not
    count in ``same``.
    """

    same: bool
    added: tuple[PartAnswer, ...]
    removed: tuple[PartAnswer, ...]
    run: tuple[PartAnswer, ...]
    cut: tuple[PartAnswer, ...]
    changed: tuple[PartChange, ...]
    exchanged: tuple[TubeExchange, ...]
    moved: tuple[PinMove, ...]
    reversed: tuple[Reversal, ...]
    opened: tuple[Opening, ...]
    joined: tuple[Opening, ...]
    split: tuple[Split, ...]
    merged: tuple[Merge, ...]
    in_reach: tuple[str, ...]
    out_of_reach: tuple[str, ...]
    ports: tuple[PortMoved, ...]
    mains: MainsChange | None
    title: Texts | None
    renamed: tuple[Texts, ...]
    other_names: tuple[Texts, ...]


@dataclass(frozen=True, slots=True)
class ParameterAnswer:
    """What a rule can be given, and its default."""

    name: str
    default: str | None


@dataclass(frozen=True, slots=True)
class NeedAnswer:
    """What a rule needs, and what it says where that is not so."""

    condition: str
    otherwise: str


@dataclass(frozen=True, slots=True)
class PassAnswer:
    """One pass of a rule over a circuit, as its file words it."""

    quantifier: str
    patterns: tuple[str, ...]
    unless: tuple[tuple[str, ...], ...]
    where: tuple[str, ...]
    needs: tuple[NeedAnswer, ...]
    edits: tuple[str, ...]
    cautions: tuple[str, ...]
    missing: str | None


@dataclass(frozen=True, slots=True)
class ExampleAnswer:
    """A circuit before and after a rule, or the refusal."""

    arguments: dict[str, str]
    before: str
    after: str | None
    refusal: str | None


@dataclass(frozen=True, slots=True)
class RuleCard:
    """The manual of a rule."""

    name: str
    says: str
    why: tuple[str, ...]
    sure: str
    limits: tuple[str, ...]
    parameters: tuple[ParameterAnswer, ...]
    passes: tuple[PassAnswer, ...]
    examples: tuple[ExampleAnswer, ...]


@dataclass(frozen=True, slots=True)
class PhraseAnswer:
    """A phrase that conditions of a rule can use."""

    phrase: str
    means: str


@dataclass(frozen=True, slots=True)
class KindCard:
    """A kind of part: its names, what a part of it may have, and a line of a file."""

    kind: str
    says: str
    form: str
    terminals: tuple[str, ...]
    optional: tuple[str, ...]
    dimensions: tuple[str, ...]
    words: tuple[str, ...]
    settings: tuple[str, ...]
    classes: tuple[str, ...]
    touched: tuple[str, ...]
    polar: bool
    primary_side: bool
    other_names: tuple[str, ...]
    example: str


def kind_answer(kind: Kind, other_names: tuple[str, ...]) -> KindCard:
    """Return the answer of a kind."""
    return KindCard(
        kind=kind.name,
        says=kind.says,
        form=str(kind.form),
        terminals=tuple(kind.terminals),
        optional=tuple(kind.optional),
        dimensions=tuple(kind.dimensions),
        words=tuple(sorted(kind.words)),
        settings=tuple(sorted(kind.settings)),
        classes=tuple(kind.classes),
        touched=tuple(kind.touched),
        polar=kind.polar,
        primary_side=kind.primary_side,
        other_names=other_names,
        example=kind.example,
    )


def applied_answer(run: JobRun, verdict: str, text: str) -> AppliedAnswer:
    """Return the answer of a job that was run."""
    return AppliedAnswer(run.job.title, tuple(map(_step, run.taken)), verdict, text)


def _step(taken: StepTaken) -> StepAnswer:
    match taken.outcome:
        case rewrite.Applied(edits, cautions, _):
            return StepAnswer(
                taken.step.text,
                taken.says,
                "applied",
                "",
                tuple(map(_edit, edits)),
                tuple(cautions),
            )
        case rewrite.NothingToDo(reason):
            return StepAnswer(taken.step.text, taken.says, "nothing to do", reason, (), ())
    raise AssertionError("a job that was run to its end has no refused step")


def _edit(edit: Edit) -> MadeEdit:
    place = f"{edit.place.file}:{edit.place.line}" if edit.place else ""
    return MadeEdit(edit_name(edit.action), edit_words(edit), edit.rule, edit.reason, place)


def changes_answer(difference: Difference, names: OtherNames | None = None) -> Changes:
    """Return the answer of a difference; ``names`` where parts have other names in the other
    file.
    """
    parts = sorted(names.parts.items()) if names else []
    other = [{"before": near, "after": far} for near, far in parts if near != far]
    return shaped({**difference.as_json(), "other_names": other}, Changes)


def rule_answer(rule: Rule) -> RuleCard:
    """Return the answer of a rule."""
    return shaped(as_json(rule), RuleCard)
