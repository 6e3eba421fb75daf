"""Running a job: its steps in order on its circuit, each a rule applied whole or a circuit
attached.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.edits import (
    AttachCircuit,
    Edit,
    EditError,
    RemovePart,
    RunWire,
    apply_edit,
    as_left,
)
from rework.circuit.parts import Part, Value
from rework.circuit.place import Problem, errors
from rework.language.job import Apply, Attach, Job
from rework.language.mains import mains_words
from rework.language.mistakes import nearest
from rework.rules import catalogue
from rework.rules.actions import free_name
from rework.rules.computed import LINE_SHARE
from rework.rules.rewrite import Applied, NothingToDo, Outcome, Refused, argument_problems, plan
from rework.safety.ties import bonded_to_earth, worst_ties

#: The rule that connects the ports named in an ``attach`` line.
CONNECT = "connect-umbilical"

#: The gauge of leads at line volts and of earth leads, as in the built-in rules.
_MAINS_GAUGE = Value("gauge", 18.0, text="18 AWG")
#: What to do about a supply that is not there yet.
_DESIGNED = "rework supply designs one and writes it"
#: Reads the circuit in a file that a job names: file as written -> (circuit, problems).
ReadCircuit = Callable[[str], tuple[Circuit | None, tuple[Problem, ...]]]


@dataclass(frozen=True, slots=True)
class StepTaken:
    """One step of a job as it went: what the file says, the outcome, and the circuit it left."""

    step: Apply | Attach
    says: str
    outcome: Outcome
    after: Circuit


@dataclass(frozen=True, slots=True)
class JobRun:
    """A job as far as it could be run: the circuit before and after, the steps taken, and what
    prevented more.

    ``problems`` holds errors where a file or rule could not be read or a rule refused; steps after
    that were not taken. ``unread``: the file of the amplifier itself could not be read, and both
    circuits are empty.
    """

    job: Job
    before: Circuit
    after: Circuit
    taken: tuple[StepTaken, ...]
    problems: tuple[Problem, ...]
    unread: bool = False

    @property
    def edits(self) -> tuple[Edit, ...]:
        """Every edit of every step, in order; replaying them on ``before`` gives ``after`` but for
        the title, which is the job's.
        """
        return tuple(
            edit
            for step in self.taken
            if isinstance(step.outcome, Applied)
            for edit in step.outcome.edits
        )

    @property
    def done(self) -> bool:
        """True where every step was taken."""
        return not self.unread and not errors(self.problems)


def run_job(job: Job, read_circuit: ReadCircuit, *, folder: Path | str | None = None) -> JobRun:
    """Return how a job went; ``folder`` is where the user keeps rules of his own."""
    before, problems = read_circuit(job.circuit_file)
    step_faults = step_problems(job, read_circuit, folder=folder)
    told_before = tuple(problem for problems in step_faults.values() for problem in problems)
    if before is None:
        return JobRun(job, Circuit(), Circuit(), (), problems + told_before, unread=True)
    mistakes = list(problems)
    taken: list[StepTaken] = []
    circuit = before
    used = frozenset(before.by_name)
    for number, step in enumerate(job.steps):
        if errors(tuple(mistakes)) or number in step_faults:
            break
        says, outcome, refused = (
            _apply(step, circuit, folder, used)
            if isinstance(step, Apply)
            else attached(step, circuit, read_circuit, folder=folder, used=used, wanted=job.mains)
        )
        mistakes += refused
        match outcome:
            case Applied(_, _, after):
                circuit = after
                used |= after.by_name.keys()
            case Refused(reasons):
                hint = _taken_out(step, before, taken) or "nothing after this line was done"
                mistakes += [
                    Problem(reason, step.place, step.text, hint=hint) for reason in reasons
                ]
        taken.append(StepTaken(step, says, outcome, circuit))
    return JobRun(
        job,
        before,
        as_left(replace(circuit, title=job.title or circuit.title)),
        tuple(taken),
        (*mistakes, *told_before),
    )


def _taken_out(step: Apply | Attach, before: Circuit, taken: Sequence[StepTaken]) -> str:
    """Return which earlier step took out a part that a step names, and what to write; "" where all
    are there.
    """
    if not isinstance(step, Apply):
        return ""
    for _, value in step.arguments:
        for earlier in taken:
            outcome = earlier.outcome
            if (
                value in before.by_name
                and isinstance(outcome, Applied)
                and isinstance(earlier.step, Apply)
                and any(edit.action == RemovePart(value) for edit in outcome.edits)
            ):
                keep = f", or keep it there with keep={value}" if _keeps(earlier.step.rule) else ""
                return (
                    f"{earlier.step.text.split(' :')[0]} in line {earlier.step.place.line} took"
                    f" {value} out: put this line before it{keep}"
                )
    return ""


def _keeps(rule: str) -> bool:
    """Return whether a rule may be told to leave a part where it is."""
    loaded = catalogue.load(rule)[0]
    return loaded is not None and any(each.name == "keep" for each in loaded.parameters)


def step_problems(
    job: Job, read_circuit: ReadCircuit, *, folder: Path | str | None = None
) -> dict[int, tuple[Problem, ...]]:
    """Return what is wrong with the steps of a job as they stand, by their number, before any of
    them is taken.

    Rules that are not there or cannot be read, arguments a rule does not know or need, circuits
    that cannot be read, ports that an attached circuit has not. What one file has wrong is reported
    once.
    """
    by_step: dict[int, tuple[Problem, ...]] = {}
    refused: set[Problem] = set()
    for number, step in enumerate(job.steps):
        problems = errors(
            _apply_problems(step, folder)
            if isinstance(step, Apply)
            else _attach_problems(step, read_circuit)
        )
        if problems:
            by_step[number] = tuple(problem for problem in problems if problem not in refused)
            refused.update(problems)
    return by_step


def _apply_problems(step: Apply, folder: Path | str | None) -> tuple[Problem, ...]:
    rule, problems = catalogue.load(step.rule, folder)
    if rule is None:
        return tuple(problem.at(step.place, step.text) for problem in problems)
    return tuple(
        Problem(reason, step.place, step.text)
        for reason in argument_problems(rule, dict(step.arguments))
    )


def _attach_problems(step: Attach, read_circuit: ReadCircuit) -> tuple[Problem, ...]:
    other, problems = read_circuit(step.circuit_file)
    if other is None:
        return tuple(
            replace(
                problem.at(step.place, step.text),
                hint=problem.hint or (_DESIGNED if problem.place is None else ""),
            )
            for problem in problems
        )
    known = [name for name, _ in other.ports]
    return tuple(
        Problem(
            f"{step.circuit_file} has no port {port}",
            step.place,
            step.text,
            expected=(
                "one of " + ", ".join(known)
                if known
                else "a line such as port bplus = B1 in that file"
            ),
            hint=f"did you mean {near}?" if (near := nearest(port, known)) else "",
        )
        for port, _ in step.ports
        if port not in known
    )


def _apply(
    step: Apply, circuit: Circuit, folder: Path | str | None, used: frozenset[str]
) -> tuple[str, Outcome, tuple[Problem, ...]]:
    rule, problems = catalogue.load(step.rule, folder)
    if rule is None:
        return "", Refused(()), problems
    return rule.says, plan(rule, circuit, dict(step.arguments), used=used), ()


def attached(
    step: Attach,
    circuit: Circuit,
    read_circuit: ReadCircuit,
    *,
    folder: Path | str | None = None,
    used: frozenset[str] = frozenset(),
    wanted: Mains | None = None,
) -> tuple[str, Outcome, tuple[Problem, ...]]:
    """Return the result of a circuit set beside another and connected to it: what is done, the
    outcome, and the problems of its file.

    ``wanted`` is the line that the job says the finished set is for.
    """
    other, problems = read_circuit(step.circuit_file)
    says = f"Set {step.circuit_file} beside the amplifier as {step.name}"
    if other is None:
        return says, Refused(()), tuple(problem.at(step.place, step.text) for problem in problems)
    edit = Edit(AttachCircuit(other, step.name), "attach", says, step.place)
    try:
        placed = apply_edit(circuit, edit.action)
    except EditError as error:
        return says, Refused((str(error),)), ()
    if wanted and placed.mains != wanted:
        return says, Refused((_another_line(step, placed.mains, wanted),)), problems
    news = _line_caution(circuit.mains, placed.mains)
    if not step.ports:
        return says, Applied((edit,), news, placed, (0,) * len(news)), problems
    rule, mistakes = catalogue.load(CONNECT, folder)
    if rule is None:
        return says, Refused(()), mistakes
    arguments, others = _ports(step, {parameter.name for parameter in rule.parameters})
    match plan(rule, placed, arguments, used=used):
        case Applied(edits, cautions, after, about):
            wires, after = _wires(others, step, after, used)
            applied = Applied(
                (edit, *edits, *wires),
                (*news, *cautions),
                after,
                (*[0] * len(news), *(place + 1 for place in about)),
            )
            return says, applied, problems
        case NothingToDo(reason):
            return says, Refused((reason,)), problems
        case refused:
            return says, refused, problems


def _another_line(step: Attach, mains: Mains | None, wanted: Mains) -> str:
    """Return why a circuit cannot be attached to a job that is for another line."""
    line = mains_words(mains) if mains else "a line that is not stated"
    return (
        f"{step.circuit_file} is for {line}, the job is for {mains_words(wanted)}: design the"
        " supply for that line, or write the other line into the job"
    )


def _line_caution(before: Mains | None, after: Mains | None) -> tuple[str, ...]:
    """Return what changes with the line that a set is for."""
    if before is None or after is None:
        return ()
    near = abs(after.volts - before.volts) <= LINE_SHARE * before.volts
    if near and before.hertz == after.hertz:
        return ()
    old, new = mains_words(before), mains_words(after)
    burns = "" if before.hertz else " Direct current burns out its transformer."
    return (f"The set was for {old}. From now on it is for {new} only: mark the plug.{burns}",)


def _ports(step: Attach, known: set[str]) -> tuple[dict[str, str], dict[str, str]]:
    """Return what the connecting rule is given of the ports it knows, and the ports it does not
    know with their nodes.

    The rule calls the amplifier's end of the earth port its chassis.
    """
    ports: dict[str, str] = {}
    others: dict[str, str] = {}
    for port, node in step.ports:
        end = "chassis" if port == "earth" else port
        if end in known and f"{port}-port" in known:
            ports |= {end: node, f"{port}-port": f"{step.name}/{port}"}
        else:
            others[f"{step.name}/{port}"] = node
    return ports, others


def _wires(
    others: dict[str, str], step: Attach, circuit: Circuit, used: frozenset[str]
) -> tuple[tuple[Edit, ...], Circuit]:
    """Return a wire for each port that the connecting rule has no word for, and the circuit with
    them.
    """
    edits = []
    ports = dict(circuit.ports)
    for port, node in others.items():
        name = free_name((circuit,), "W", used=used)
        inside = ports.get(port, port)
        values, words = _mains_wire(circuit, inside)
        wire = Part(name, "wire", values=values, words=words, pins=(("1", inside), ("2", node)))
        edit = Edit(
            RunWire(wire), "attach", f"{step.circuit_file} connects {port} to {node}", step.place
        )
        circuit = apply_edit(circuit, edit.action)
        edits.append(edit)
    return tuple(edits), circuit


def _mains_wire(circuit: Circuit, node: str) -> tuple[tuple[Value, ...], tuple[str, ...]]:
    """Return the gauge and colour of a wire from a node of a supply: of earth and of line leads as
    the built-in rules have them, none of any other.
    """
    if node in bonded_to_earth(circuit):
        return (_MAINS_GAUGE,), ("green-yellow",)
    if node in worst_ties(circuit).tied:
        return (_MAINS_GAUGE,), ("gray",)
    return (), ()
