"""The five ways to go, each made into a circuit by rules and forms: leave it, isolate it, isolate
it and rectify anew, or give it a supply of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TypeAlias

from rework.circuit.circuit import Circuit
from rework.language.job import Attach, Job
from rework.rules.run import JobRun, ReadCircuit
from rework.solve.network import CannotSolve
from rework.solve.stability import MOTORBOATING
from rework.supply.amplifier import Amplifier, NoSupply, amplifier
from rework.supply.assess import STEPS, assess, safe_findings
from rework.supply.choose import choice_of
from rework.supply.draft import draft
from rework.supply.evaluate import Candidate, evaluate
from rework.supply.feed import Feed, feed_of
from rework.supply.findings import Findings, Option
from rework.supply.isolate import isolated
from rework.supply.limit_words import over_words
from rework.supply.mark_names import mark_words
from rework.supply.needs import Needs
from rework.supply.needs import needs as needs_of
from rework.supply.screen import sieve
from rework.supply.sources import Wishes
from rework.supply.stock import Shelf

#: The options in their order.
TITLES = {
    "leave": "leave it",
    "isolate": "isolation transformer only",
    "bridge": "isolation and bridge",
    "silicon": "new supply, silicon",
    "tube": "new supply, tube",
}
#: Rectifiers of either kind of new supply.
RECTIFIERS = {"silicon": ("bridge", "silicon"), "tube": ("tube",)}
#: At most so many supplies of a kind are solved exactly before the best is taken; the sieve puts
#: the likeliest first, and the first that meets all ends it.
SOLVED = 2
#: Less than this share of the watts the set had is told of (common practice, no source: 1 dB).
LESS = 0.8
#: Volts RMS on a heater over which the string is told of: more than 12.6 V with a tenth over.
STRING = 20.0
#: How often ``options`` calls its ``step``.
WORK = len(TITLES) * STEPS + 3
#: Begins with the ``safe_findings`` of an option; what it returns waits for them.
Begin: TypeAlias = Callable[[Option], Callable[[], Findings]]


def when_asked(option: Option) -> Callable[[], Findings]:
    """Return what computes the ``safe_findings`` of an option when it is called."""
    return partial(safe_findings, option)


@dataclass(frozen=True, slots=True, eq=False)
class Options:
    """The findings of every option in their order, the job the new supplies are of (drafted where
    there was none), and what speaks against each.
    """

    title: str
    job: Job | None
    drafted: bool
    findings: tuple[Findings, ...]
    against: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...]


def options(
    circuit: Circuit,
    shelf: Shelf | None,
    *,
    run: JobRun | None = None,
    read: ReadCircuit | None = None,
    folder: Path | str | None = None,
    step: Callable[[int], None] | None = None,
    begin: Begin = when_asked,
) -> Options:
    """Return what may be done with an amplifier, side by side.

    ``run`` is its job as it went, ``read`` reads the circuits that names. ``begin`` may compute
    what a person feels beside the rest.
    """
    comparison = _Comparison(circuit, shelf, run, read, folder, step, begin)
    findings = comparison.findings()
    compared = tuple(findings[kind] for kind in TITLES)
    return Options(
        circuit.title,
        comparison.basis.job,
        comparison.basis.drafted,
        compared,
        tuple(tuple(against(each, compared[0])) for each in compared),
        tuple(dict.fromkeys(comparison.notes)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Basis:
    """What the new supplies are for: the amplifier, its job, whether that was drafted, and why
    there is none.
    """

    amp: Amplifier | None
    job: Job | None
    drafted: bool
    why: tuple[str, ...] = ()


class _Comparison:
    """The options of one amplifier while they are made and assessed."""

    def __init__(
        self,
        circuit: Circuit,
        shelf: Shelf | None,
        run: JobRun | None,
        read: ReadCircuit | None,
        folder: Path | str | None,
        step: Callable[[int], None] | None,
        begin: Begin,
    ) -> None:
        self.circuit, self.shelf, self.run = circuit, shelf, run
        self.step, self.begin = step, begin
        self.stops: Mapping[str, float] | None = None
        self.notes: list[str] = []
        self.refused: tuple[str, ...] = ()
        self.feed: Feed | None = None
        try:
            self.feed = feed_of(circuit)
        except CannotSolve as error:
            self.refused = tuple(problem.message for problem in error.problems)
        self.basis = self._basis(read, folder)
        self.own = _own(run) if run is not None and not self.basis.drafted else None

    def _basis(self, read: ReadCircuit | None, folder: Path | str | None) -> _Basis:
        """Return the amplifier the new supplies are for; a job is drafted where there is none."""
        if self.run is not None and read is not None:
            try:
                amp = amplifier(self.run.job, read, folder=folder)
                return _Basis(amp, self.run.job, False)
            except NoSupply as error:
                self.notes.append(
                    f"No supply can be designed for the job ({error}); the new supplies are for a"
                    " drafted one."
                )
        if self.feed is None:
            return _Basis(None, None, True, self.refused)
        job = None
        try:
            job = draft(self.circuit, self.feed)
            return _Basis(amplifier(job, lambda _: (self.circuit, ())), job, True)
        except (CannotSolve, NoSupply) as error:
            return _Basis(None, job, True, tuple(problem.message for problem in error.problems))

    def _done(self) -> None:
        if self.step:
            self.step(1)

    def _looked_at(self, every: Mapping[str, Option]) -> dict[str, Findings]:
        """Return the findings of some options by their kinds; what a person feels at all of them
        is begun with first.
        """
        begun = {kind: self.begin(option) for kind, option in every.items()}
        findings = {}
        for kind, option in every.items():
            findings[kind], self.stops = assess(
                option,
                self.circuit,
                self.shelf,
                safe=begun[kind],
                stops=self.stops,
                step=self.step,
            )
        return findings

    def findings(self) -> dict[str, Findings]:
        """Return the findings of every option by its kind."""
        feed, basis = self.feed, self.basis
        rail, back = (feed.rail, feed.back) if feed else ("", "")
        leave = Option("leave", TITLES["leave"], self.circuit, (), rail, back)
        every, load = {"leave": leave}, None
        for kind in ("isolate", "bridge"):
            every[kind], load = _isolated(self.circuit, feed, self.shelf, kind, load)
        if self.own is not None and self.run is not None and basis.amp is not None:
            every[self.own] = _own_option(self.own, self.run, basis.amp)
        findings = self._looked_at(every)
        needs, why = self._needs(findings)
        self._done()
        supplied = {}
        for kind in ("silicon", "tube"):
            if kind != self.own:
                supplied[kind] = self._supplied(kind, needs, why)
            self._done()
        return findings | self._looked_at(supplied)

    def _needs(self, findings: Mapping[str, Findings]) -> tuple[Needs | None, tuple[str, ...]]:
        """Return what a new supply has to give, or why that is not known."""
        amp, why = self.basis.amp, self.basis.why
        if amp is None or self.shelf is None:
            return None, why
        bplus = findings[self.own].bplus if self.own is not None else None
        try:
            return needs_of(amp, {"bplus": bplus} if bplus else None), why
        except CannotSolve as error:
            return None, tuple(problem.message for problem in error.problems)

    def _supplied(self, kind: str, needs: Needs | None, why: tuple[str, ...]) -> Option:
        """Return the option of a new supply of a kind, designed from the stock list."""
        title, amp, shelf = TITLES[kind], self.basis.amp, self.shelf
        if amp is None or why:
            return Option(kind, title, why=why or ("there is no job to design a supply for",))
        if shelf is None or needs is None:
            reason = "there is no stock list to design it from: name one with --shelf"
            return Option(kind, title, why=(reason,))
        candidates, reasons, tried = _designed(kind, amp, needs, shelf)
        if not candidates:
            nothing = f"nothing on the stock list makes such a supply ({tried} pairs tried)"
            return Option(kind, title, why=tuple(dict.fromkeys(reasons)) or (nothing,))
        best = min(candidates, key=lambda candidate: candidate.order(needs))
        run = amp.rerun(best.circuit)
        if not run.done or run.after is None:
            return Option(kind, title, why=tuple(problem.message for problem in run.problems))
        ports = dict(amp.attach.ports)
        notes = [
            f"NOT MET: {mark_words(mark)} is {mark.value:.3g} {mark.unit}" for mark in best.unmet
        ]
        count = len(candidates)
        notes.append(
            f"of {tried} pairs {count} {'was' if count == 1 else 'were'} solved; rework supply"
            " compares more"
        )
        aim = f"designed for the B+ of {amp.attach.circuit_file}" if self.own is not None else ""
        steps = (f"{best.choice.form} with {best.choice.transformer.name}", aim)
        return Option(
            kind,
            title,
            run.after,
            run.edits,
            ports["bplus"],
            ports["common"],
            amp.name,
            notes=tuple(notes),
            steps=tuple(filter(None, steps)),
        )


def _designed(
    kind: str, amp: Amplifier, needs: Needs, shelf: Shelf
) -> tuple[list[Candidate], list[str], int]:
    """Return the supplies of a kind that were solved, why others were not, and how many pairs went
    through the sieve; two transformers only where one does not serve.
    """
    candidates: list[Candidate] = []
    reasons: list[str] = []
    tried = 0
    for paired in (False, True):
        wishes = Wishes(rectifiers=RECTIFIERS[kind], back_to_back=paired)
        rough, pairs, left = sieve(shelf, needs, wishes)
        tried += pairs
        reasons += left
        for pair in rough[:SOLVED]:
            try:
                candidates.append(
                    evaluate(choice_of(pair, shelf, wishes, needs), amp, needs, shelf)
                )
            except (CannotSolve, ValueError) as error:
                reasons.append(str(error))
            if candidates and not candidates[-1].unmet:
                return candidates, reasons, tried
    return candidates, reasons, tried


def _isolated(
    circuit: Circuit,
    feed: Feed | None,
    shelf: Shelf | None,
    kind: str,
    load: tuple[float, float] | None,
) -> tuple[Option, tuple[float, float] | None]:
    try:
        supply = isolated(circuit, feed, shelf, bridge=kind == "bridge", load=load)
    except CannotSolve as error:
        return (
            Option(kind, TITLES[kind], why=tuple(problem.message for problem in error.problems)),
            load,
        )
    rail, back = (feed.rail, feed.back) if feed else ("", "")
    if back not in supply.circuit.at:
        back = "COMMON" if "COMMON" in supply.circuit.at else back
    steps = (
        f"rule {supply.edits[0].rule}",
        *(f"rule bond-common on {node}" for node in supply.bonds),
        f"{supply.name} is {supply.transformer.name}, {supply.transformer.va:g} VA",
    )
    return (
        Option(
            kind,
            TITLES[kind],
            supply.circuit,
            supply.edits,
            rail,
            back,
            isolator=supply.name,
            notes=supply.notes,
            steps=steps,
        ),
        supply.load,
    )


def _own(run: JobRun) -> str | None:
    """Return which kind of rectifier the job's own supply has, None where it attaches none."""
    attached = next(
        (
            step
            for step in run.job.steps
            if isinstance(step, Attach) and "bplus" in dict(step.ports)
        ),
        None,
    )
    if attached is None or run.after is None:
        return None
    parts = [part for part in run.after.parts if part.name.startswith(f"{attached.name}/")]
    return (
        "tube"
        if any(part.kind == "tube" for part in parts)
        else "silicon"
        if any(part.kind in ("bridge", "diode") for part in parts)
        else None
    )


def _own_option(kind: str, run: JobRun, amp: Amplifier) -> Option:
    ports = dict(amp.attach.ports)
    return Option(
        kind,
        f"{TITLES[kind]} (the job's)",
        run.after,
        run.edits,
        ports["bplus"],
        ports["common"],
        amp.name,
        steps=(f"as the job has it, with {amp.attach.circuit_file}",),
    )


def against(findings: Findings, leave: Findings) -> list[str]:
    """Return the drawbacks of an option, from its own findings."""
    option = findings.option
    if option.circuit is None:
        return [f"not possible: {reason}" for reason in option.why]
    said = []
    if findings.reach:
        said.append(f"{_count(findings.reach, 'node')} within reach and tied to the mains")
    said += [f"to fix: {message}" for message in findings.mend]
    said += _half_wave(findings)
    if findings.string_volts and findings.string_volts > STRING and option.kind != "leave":
        said.append(
            f"the series string stays: {findings.string_volts:.0f} V RMS on heaters on the board;"
            " when one heater fails, all go out"
        )
    if findings.balanced is False:
        said.append("the heaters have no hum balance")
    if option.isolator:
        said.append(
            "an autotransformer isolates nothing: measure from primary to secondary before you fit"
            " the transformer"
        )
    said += over_words(findings.over)
    said += [_growing(hertz, node) for hertz, node in findings.grows]
    said += _shocks(findings)
    before, watts = leave.watts, findings.watts
    if before is not None and watts is not None and watts < LESS * before:
        said.append(f"less power: {watts:.2g} W, the set had {before:.2g} W")
    return said


def _growing(hertz: float, node: str) -> str:
    if not hertz:
        return f"it runs away at {node}"
    what = "motorboats" if hertz < MOTORBOATING else "squeals"
    return f"it {what} at {hertz:.3g} Hz, strongest at {node}"


def _shocks(findings: Findings) -> list[str]:
    """Return the touch current, in order or under a single fault."""
    if findings.touch_over and findings.touch is not None:
        return [f"touch current {findings.touch * 1e3:.3g} mA ({findings.touch_where})"]
    if findings.fault_over and findings.fault is not None:
        direct = " of direct current" if findings.fault_direct else ""
        amps = f"{findings.fault * 1e3:.3g} mA{direct}"
        return [f"single fault: touch current {amps} ({findings.fault_what})"]
    return []


def _half_wave(findings: Findings) -> list[str]:
    """Return what the check says of a half-wave load, with the direct current beside the one that
    magnetises the core.
    """
    said = [message for message in findings.mind if "half-wave" in message]
    isolator = findings.option.isolator
    load = next((load for load in findings.loads if load.name == isolator), None)
    figure = (
        f": {load.direct_amps * 1e3:.0f} mA of direct current beside"
        f" {load.magnetising_amps * 1e3:.0f} mA that magnetise it (saturation itself is not"
        " computed)"
        if load
        else ""
    )
    return [message.rstrip(".") + figure for message in said]


def _count(number: int, word: str) -> str:
    return f"{number} {word}" + ("" if number == 1 else "s")
