"""The amplifier of a job without its supply: the job run with a stand-in for the circuit it
attaches, which any candidate may then take the place of.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.edits import AttachCircuit, apply_edit
from rework.circuit.place import Problem
from rework.language.job import Apply, Attach, Job
from rework.language.mains import mains_words
from rework.language.resolve import read_circuit
from rework.rules import catalogue
from rework.rules.run import CONNECT, JobRun, ReadCircuit, run_job
from rework.safety.check import check

#: Ports that a supply designed here can have; those of the umbilical first.
UMBILICAL = ("bplus", "common", "heater1", "heater2", "earth")
PORTS = (*UMBILICAL, "motor1", "motor2", "motor-earth", "switch1", "switch2")
#: The node of each port inside every supply designed here; the amplifier's wires end there
#: whichever candidate is attached.
NODES = {
    "bplus": "UB",
    "common": "UC",
    "heater1": "UH1",
    "heater2": "UH2",
    "earth": "UE",
    "motor1": "LINE3",
    "motor2": "N1",
    "motor-earth": "CHASSIS",
    "switch1": "LINE2",
    "switch2": "LINE3",
}
#: Lines up to these volts are American ones.
SMALL_LINE = 127.0
#: Ohms of the stand-in between B+ and common, into which B+ is driven.
STIFF = 0.1
_ATTACH = (
    'attach "supply.circuit" as SUPPLY : bplus=B1, common=COMMON, heater1=HEAT1, heater2=HEAT2,'
    " earth=CHASSIS"
)


class NoSupply(Exception):
    """A job for which no supply can be designed; ``problems`` say why."""

    def __init__(self, *problems: Problem) -> None:
        super().__init__(problems[0].message if problems else "no supply")
        self.problems = problems


@dataclass(frozen=True)
class Amplifier:
    """A job as far as its supply: how the set was found, the whole with the stand-in, and what the
    supply must give.

    ``switched``: the amplifier's own switch switches the supply, so it needs none. ``bonded``: B-
    is to be bonded to the chassis in the supply, since the amplifier does not do it.
    """

    job: Job
    attach: Attach
    before: Circuit
    stand_in: Circuit
    mains: Mains
    ports: tuple[str, ...]
    switched: bool
    bonded: bool
    rerun: Callable[[Circuit], JobRun]

    @property
    def name(self) -> str:
        """The name under which the job attaches the supply."""
        return self.attach.name

    def node(self, port: str) -> str:
        """Return the node of the whole circuit where the supply's end of a port is."""
        return f"{self.name}/{NODES[port]}"

    def own(self, part: str) -> bool:
        """Return whether a part, by its name in the whole circuit, is the amplifier's and not the
        supply's.
        """
        return not part.startswith(f"{self.name}/")

    def on_line(self, volts: float) -> Amplifier:
        """Return the same on a line of other volts, whatever line its file was written for."""
        mains = Mains(volts, self.mains.hertz)
        return replace(self, mains=mains, stand_in=replace(self.stand_in, mains=mains))

    def with_supply(self, supply: Circuit) -> Circuit:
        """Return the whole circuit with ``supply`` in the place of the stand-in: what running the
        job on it gives.
        """
        led = apply_edit(Circuit(), AttachCircuit(supply, self.name))
        old = self.stand_in
        moves = {self.node(port): f"{self.name}/{node}" for port, node in supply.ports}
        at = next(number for number, part in enumerate(old.parts) if not self.own(part.name))
        kept = [part.rebound(moves) for part in old.parts if self.own(part.name)]
        parts = (*kept[:at], *led.parts, *kept[at:])

        return replace(
            old,
            parts=parts,
            touchable=(*filter(self.own, old.touchable), *led.touchable),
            open_nodes=(*filter(self.own, old.open_nodes), *led.open_nodes),
            blank_nodes=(*filter(self.own, old.blank_nodes), *led.blank_nodes),
            ports=(*(pair for pair in old.ports if self.own(pair[0])), *led.ports),
            aliases=(*(pair for pair in old.aliases if self.own(pair[0])), *led.aliases),
        )


def amplifier(job: Job, read: ReadCircuit, *, folder: Path | str | None = None) -> Amplifier:
    """Return the amplifier of a job.

    Raises NoSupply with every problem where it has no supply to design or cannot be run.
    """
    attach = _attached(job)
    before, problems = read(job.circuit_file)
    if before is None:
        raise NoSupply(*problems)
    mains = job.mains or before.mains
    if mains is None or not mains.hertz:
        raise NoSupply(_no_line(job, mains))
    ports = (*(port for port, _ in attach.ports), *_asked_for(job, attach, folder))

    def rerun(supply: Circuit) -> JobRun:
        return run_job(
            job,
            lambda name: (supply, ()) if name == attach.circuit_file else read(name),
            folder=folder,
        )

    def whole(bonded: bool) -> Circuit:
        run = rerun(stand_in(mains, ports, bonded=bonded))
        if not run.done or run.after is None:
            raise NoSupply(*run.problems)
        return run.after

    loose = whole(False)
    kept, left = _findings(loose), _findings(whole(True))
    bonded = left < kept
    return Amplifier(
        job,
        attach,
        before,
        whole(True) if bonded else loose,
        mains,
        ports,
        "switch1" in ports,
        bonded,
        rerun,
    )


def _no_line(job: Job, mains: Mains | None) -> Problem:
    """Return what the job has to say before there is a line to design a supply for."""
    if mains is None:
        return Problem(
            f"{job.circuit_file} does not state its mains, so no supply can be designed",
            hint="write a line such as mains 117 V 60 Hz",
        )
    return Problem(
        f"{job.circuit_file} is for {mains_words(mains)}, and a transformer does not work on direct"
        " current: the job does not say which alternating line the finished set is for",
        hint="write that line into the job, as in mains 230 V 50 Hz",
    )


def _asked_for(job: Job, attach: Attach, folder: Path | str | None) -> tuple[str, ...]:
    """Return the ports that later steps of the job ask the supply for by their names, and that the
    attach line does not name: those of the old switch, of a motor.
    """
    named = {f"{attach.name}/{port}": port for port in PORTS}
    ports = {port for port, _ in attach.ports}
    asked_for: dict[str, None] = {}
    for step in job.steps:
        rule = catalogue.load(step.rule, folder)[0] if isinstance(step, Apply) else None
        if rule is None or not isinstance(step, Apply):
            continue
        defaults = {parameter.name: parameter.default for parameter in rule.parameters}
        for value in (defaults | dict(step.arguments)).values():
            port = named.get(value or "")
            if port is not None and port not in ports and rule.name != CONNECT:
                asked_for[port] = None
    return tuple(asked_for)


def _findings(circuit: Circuit) -> frozenset[tuple[str, ...]]:
    """Return what the check finds that must be fixed: each hazard by its node, each caution by its
    key, part and node.
    """
    report = check(circuit)
    hazards = {("hazard", hazard.node) for hazard in report.hazards}
    musts = (each for each in report.cautions if each.weight == "must")
    return frozenset(hazards | {(each.key, each.part, each.node) for each in musts})


def _attached(job: Job) -> Attach:
    """Return the line of a job that attaches its supply.

    Raises NoSupply where there is none, or it does not say all.
    """
    lines = [step for step in job.steps if isinstance(step, Attach) and "bplus" in dict(step.ports)]
    if len(lines) != 1:
        raise NoSupply(_not_one(job, lines))
    attach = lines[0]
    known = {port for port, _ in attach.ports}
    problems = [
        Problem(
            f"a supply designed here has no port {port}",
            attach.place,
            attach.text,
            expected="ports among " + ", ".join(PORTS),
        )
        for port in sorted(known - set(PORTS))
    ]
    problems += [
        Problem(
            f"the attach line does not say where the supply's {port} goes",
            attach.place,
            attach.text,
            expected=f"{port}=NODE",
            hint=f"as in {_ATTACH}",
        )
        for port in UMBILICAL
        if port not in known
    ]
    if problems:
        raise NoSupply(*problems)
    return attach


def _not_one(job: Job, lines: list[Attach]) -> Problem:
    """Return the problem of a job that attaches no supply, or more than one."""
    isolates = any(
        isinstance(step, Apply) and step.rule.startswith("isolate-") for step in job.steps
    )
    if not lines and isolates:
        return Problem(
            "the job keeps the old supply behind an isolating transformer, so there is no new one"
            " to design",
            hint=(
                "rework supply without -o says which transformer it needs; for a new supply, attach"
                " one in the place of the isolate rule"
            ),
        )
    return Problem(
        (
            "the job attaches more than one supply with B+"
            if lines
            else "the job attaches no supply with B+"
        ),
        job.circuit_place,
        expected="one attach line with the port bplus; its circuit file need not be there yet",
        hint=f"write {_ATTACH}",
    )


def stand_in(mains: Mains, ports: tuple[str, ...], *, bonded: bool) -> Circuit:
    """Return a supply of no ratings with every port: no rectifier, and between B+ and common 0.1
    ohm that B+ is driven into.
    """
    switch = "S1 switch : LINE2 -- LINE3\n" if "switch1" not in ports else ""
    bond = "W2 wire black : COMMON -- CHASSIS\n" if bonded else ""
    fuse = "1 A" if mains.volts <= SMALL_LINE else "500 mA"
    iron = (
        f"T1 transformer 50 VA : primary {mains.volts!r} V dcr 1 ohm = LINE3 -- N1,"
        " heater 6.3 V dcr 0.01 ohm = H1 -- H2, core=CHASSIS"
    )
    text = f"""circuit "stand-in"
mains {mains.volts!r} V {mains.hertz!r} Hz
touchable CHASSIS
P1 plug three-pin : line=LINE1, neutral=N1, earth=PE
W1 wire green-yellow : PE -- CHASSIS
F1 fuse {fuse} slow : LINE1 -- LINE2
{switch}{iron}
R1 resistor {STIFF} ohm : BP -- COMMON
R2 resistor 100 ohm : H1 -- COMMON
R3 resistor 100 ohm : H2 -- COMMON
{bond}CH1 chassis : CHASSIS
X1 connector socket : 1=BP, 2=COMMON, 3=H1, 4=H2, 5=CHASSIS
X2 connector plug mates X1 : 1=UB, 2=UC, 3=UH1, 4=UH2, 5=UE
port {", ".join(f"{port} = {NODES[port]}" for port in PORTS if port in ports)}
"""
    circuit, problems = read_circuit(text)
    if circuit is None:
        raise AssertionError(problems)
    return circuit
