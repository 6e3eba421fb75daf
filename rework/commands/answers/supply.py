"""The answers of ``supply`` and ``options``."""

from __future__ import annotations

from dataclasses import dataclass

from rework.circuit.circuit import Mains
from rework.commands.answers.rated import Rated, rated
from rework.commands.answers.shape import shaped
from rework.commands.mark_words import item_words, missed_words
from rework.commands.options_words import Labour, labour_words
from rework.supply.design import Design
from rework.supply.evaluate import Candidate
from rework.supply.findings import Bought, Findings, PrimaryLoad
from rework.supply.isolate import Isolated
from rework.supply.mark_names import mark_words
from rework.supply.marks import Figures, Mark
from rework.supply.options import Options
from rework.supply.order import Order
from rework.supply.stiff import Aim
from rework.supply.stock import StockItem, kind_of


@dataclass(frozen=True, slots=True)
class Needed:
    """What the amplifier needs of a supply, and why (by name)."""

    mains: Mains
    bplus: float
    low: float
    high: float
    idle_amps: float
    full_amps: float
    heater_volts: float
    heater_amps: float
    hum: float
    hum_of_ripple: tuple[float, float]
    ceiling: float
    open_limit: float
    limits: tuple[Rated, ...]
    aims: tuple[Aim, ...]
    load: tuple[tuple[float, float], ...]
    full_watts: float
    full_volts: float
    stops: tuple[tuple[str, float], ...]
    why: dict[str, str]
    fixed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Component:
    """A part of a candidate; ``on_list`` is false where it has to be ordered."""

    kind: str
    name: str
    says: str
    price: float | None
    on_list: bool


@dataclass(frozen=True, slots=True)
class Marked:
    """A figure against its limits: ``key`` says which, ``what`` in words; ``share`` is how much of
    the limit it uses.
    """

    key: str
    part: str
    of: str
    what: str
    value: float
    unit: str
    most: float | None
    least: float | None
    kind: str
    met: bool
    share: float | None


@dataclass(frozen=True, slots=True)
class CandidateAnswer:
    """A candidate, solved with the amplifier; ``unmet`` says what it misses."""

    form: str
    rectifier: str
    filter: str
    balance: str
    parts: tuple[Component, ...]
    price: float | None
    figures: Figures
    marks: tuple[Marked, ...]
    unmet: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Designed:
    """The new supply: candidates, best first; ``chosen`` counts from 1, null for none."""

    needs: Needed
    pairs: int
    candidates: tuple[CandidateAnswer, ...]
    chosen: int | None
    circuit: str | None
    verdict: str | None
    order: Order
    left_out: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class IsolatingAnswer:
    """The isolating transformer that a set wants: RMS ``amps`` of its secondary and ``volt_amps``,
    null where the set has no numbers; ``job_volt_amps`` as the job states them.
    """

    transformer: Component
    fuse: Component
    amps: float | None
    volt_amps: float | None
    job_volt_amps: float | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OptionAnswer:
    """One option: the rows of the table in SI; ``missing`` says by row why one is null."""

    kind: str
    title: str
    steps: tuple[str, ...]
    why: tuple[str, ...]
    notes: tuple[str, ...]
    against: tuple[str, ...]
    verdict: str
    hazards: int | None
    reach: int | None
    mend: tuple[str, ...]
    mind: tuple[str, ...]
    touch: float | None
    touch_volts: float | None
    touch_where: str
    touch_over: bool
    fault: float | None
    fault_what: str
    fault_direct: bool
    fault_over: bool
    fault_verdict: str
    unknown: tuple[str, ...]
    bplus: float | None
    watts: float | None
    hum: float | None
    hum_below: float | None
    damping: float | None
    swings_at: float | None
    grows: tuple[tuple[float, str], ...]
    loads: tuple[PrimaryLoad, ...]
    heat: float | None
    heat_old: float | None
    string_volts: float | None
    balanced: bool | None
    over: tuple[Rated, ...]
    bought: tuple[Bought, ...]
    holes: tuple[str, ...]
    pins: int
    wires: int
    cut: tuple[str, ...]
    out: tuple[str, ...]
    kept: int
    of: int
    assumed: tuple[str, ...]
    missing: dict[str, str]
    price: float
    unpriced: tuple[str, ...]
    reversible: str
    labour: str


@dataclass(frozen=True, slots=True)
class Compared:
    """The options side by side."""

    title: str
    drafted: bool
    job_steps: tuple[str, ...]
    shelf: str
    notes: tuple[str, ...]
    labour_seconds: float | None
    options: tuple[OptionAnswer, ...]


def designed_answer(design: Design, number: int | None, verdict: str, wanted: Order) -> Designed:
    """Return the answer of a design; ``number`` is the candidate chosen, from 1."""
    needs = {name: getattr(design.needs, name) for name in Needed.__dataclass_fields__}
    needs |= {"why": dict(design.needs.why), "limits": tuple(map(rated, design.needs.limits))}
    return Designed(
        needs=shaped(needs, Needed),
        pairs=design.pairs,
        candidates=tuple(map(_solved, design.candidates)),
        chosen=number,
        circuit=design.candidates[number - 1].text if number else None,
        verdict=verdict or None,
        order=wanted,
        left_out=design.left_out,
    )


def _solved(candidate: Candidate) -> CandidateAnswer:
    return CandidateAnswer(
        form=candidate.choice.form,
        rectifier=candidate.choice.rectifier,
        filter=candidate.choice.filter,
        balance=candidate.choice.balance,
        parts=tuple(map(_component, candidate.choice.items())),
        price=candidate.choice.price,
        figures=candidate.figures,
        marks=tuple(map(_marked, candidate.marks)),
        unmet=tuple(map(missed_words, candidate.unmet)),
    )


def _component(item: StockItem) -> Component:
    return Component(kind_of(item), item.name, item_words(item), item.price, item.listed)


def _marked(mark: Mark) -> Marked:
    rows = {name: getattr(mark, name) for name in Marked.__dataclass_fields__ if name != "what"}
    return Marked(what=mark_words(mark), **rows)


def isolating_answer(isolated: Isolated, rated: float | None) -> IsolatingAnswer:
    """Return the answer of a job that keeps the old supply; ``rated`` are the VA it states."""
    amps, volt_amps = isolated.load or (None, None)
    return IsolatingAnswer(
        _component(isolated.transformer),
        _component(isolated.fuse),
        amps,
        volt_amps,
        rated,
        isolated.notes,
    )


def compared_answer(options: Options, shelf: str, labour: Labour) -> Compared:
    """Return the answer of the options; ``labour`` as the job states it."""
    return Compared(
        title=options.title,
        drafted=options.drafted,
        job_steps=tuple(step.text for step in options.job.steps) if options.job else (),
        shelf=shelf,
        notes=options.notes,
        labour_seconds=labour[0],
        options=tuple(
            _way(findings, against, labour_words(findings, labour))
            for findings, against in zip(options.findings, options.against, strict=True)
        ),
    )


def _way(findings: Findings, against: tuple[str, ...], labour: str) -> OptionAnswer:
    of_option = {
        name: getattr(findings.option, name) for name in ("kind", "title", "steps", "why", "notes")
    }
    rows = {
        name: getattr(findings, name)
        for name in OptionAnswer.__dataclass_fields__
        if name not in (*of_option, "against", "labour", "missing", "over")
    }
    return OptionAnswer(
        **of_option,
        **rows,
        against=tuple(against),
        missing=dict(findings.missing),
        labour=labour,
        over=tuple(map(rated, findings.over)),
    )
