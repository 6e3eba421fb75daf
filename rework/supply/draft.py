"""A conversion drafted for a circuit that has no job yet: the built-in rules in their usual order,
with what this circuit calls things.
"""

from __future__ import annotations

from rework.circuit.circuit import Circuit
from rework.circuit.edits import AttachCircuit, apply_edit
from rework.circuit.parts import Part, Value
from rework.circuit.place import Place, Problem
from rework.circuit.preferred import E6, nearest
from rework.language.job import Apply, Attach, Job
from rework.language.quantity import write_value
from rework.rules import catalogue
from rework.rules.facts import Facts
from rework.rules.rewrite import Applied, Refused, plan
from rework.rules.run import CONNECT
from rework.solve.network import CannotSolve
from rework.supply.amplifier import stand_in
from rework.supply.feed import Feed
from rework.tubes import library
from rework.tubes.relatives import PARALLEL_VOLTS, SAME_CURVES, stand_ins

#: Names the draft gives: the supply, its file, the heater pair, the return of back bias, the
#: motor's lead.
SUPPLY, FILE, PAIR, RETURN = "SUPPLY", "supply.circuit", ("HEAT1", "HEAT2"), "NEGATIVE"
MOTOR = {"motor1": "MOTOR1", "motor2": "MOTOR2", "motor-earth": "MOTOR-EARTH"}
#: Volts of the capacitors fitted anew behind the old filter resistors: what a small supply can rise
#: to with cold tubes.
CAPACITOR_VOLTS = 350.0


def draft(circuit: Circuit, feed: Feed) -> Job:
    """Return a job that gives the circuit a new supply at the umbilical.

    Raises CannotSolve with the reasons of the rule that refuses.
    """
    return _Draft(circuit, feed).job()


def draft_text(job: Job, circuit_file: str) -> str:
    """Return the text of a drafted job on a circuit file of that name."""
    lines = [
        (
            "# Drafted by rework options: the built-in rules in their usual order. Read every line"
            " before you trust one."
        ),
        f"# The supply is still to be made: rework supply THIS.job -o {FILE}",
        "",
        f'job "{job.title}"',
        f'circuit "{circuit_file}"',
        "",
        *(step.text for step in job.steps),
    ]
    return "\n".join(lines) + "\n"


class _Draft:
    """Steps are taken one by one on the circuit as they are written down; what finds nothing to do
    is left out.
    """

    def __init__(self, circuit: Circuit, feed: Feed) -> None:
        self.before = self.now = circuit
        self.feed = feed
        self.steps: list[Apply | Attach] = []
        self.place = Place(circuit.file or "draft", 1, 1, 2)

    def job(self) -> Job:
        facts = Facts(self.before)
        chassis = next(
            (node for part in self.before.parts if part.kind == "chassis" for _, node in part.pins),
            None,
        )
        if chassis is None:
            raise CannotSolve(
                Problem(
                    "the circuit has no chassis to bond to earth",
                    hint="write one, as in CH1 chassis : CHASSIS",
                )
            )
        backed = bool(facts.back_biased)
        common = common_of(self.before, self.feed)
        filters = [
            part
            for part in self.before.parts
            if facts.is_filter(part) and facts.of(part, "plus") != facts.point(self.feed.rail)
        ]
        for rule in ("open-line-to-chassis", "take-out-dropper"):
            self._take(rule)
        if backed:
            self._take("keep-back-bias", ("return", RETURN))
        for rule in ("remove-rectifier", "remove-filter", "release-line-cord"):
            self._take(rule)
        self._tubes(facts)
        self._take("cut-heater-string")
        self._attach(RETURN if backed else common, chassis)
        for part in self.before.parts:
            if part.kind == "motor" and part.name in self.now.by_name:
                self._take(
                    "feed-motor",
                    ("motor", part.name),
                    ("one", MOTOR["motor1"]),
                    ("other", MOTOR["motor2"]),
                    ("earth", MOTOR["motor-earth"]),
                )
        self._bond(chassis, common)
        switch = next(
            (
                part
                for part in self.before.parts
                if part.kind == "switch" and part.name in self.now.by_name
            ),
            None,
        )
        if switch is not None:
            self._take(
                "reuse-power-switch", ("switch", switch.name), ("chassis", chassis), needed=False
            )
        for part in filters:
            if part.name not in self.now.by_name and part.node("plus") in self.now.at:
                farads = write_value(
                    Value("capacitance", nearest(part.value("capacitance") or 22e-6, E6))
                )
                self._take(
                    "renew-filter-capacitor",
                    ("node", part.node("plus")),
                    ("common", common),
                    ("capacitor", f"{farads} {CAPACITOR_VOLTS:g} V"),
                    needed=False,
                )
        title = self.before.title.removesuffix(", as found")
        return Job(
            f"{title}: new isolated supply, drafted",
            self.before.file or "amplifier.circuit",
            tuple(self.steps),
            file="",
            circuit_place=self.place,
        )

    def _take(self, rule: str, *arguments: tuple[str, str], needed: bool = True) -> None:
        found, problems = catalogue.load(rule)
        if found is None:
            raise CannotSolve(*problems)
        known = {parameter.name for parameter in found.parameters}
        given = tuple(pair for pair in arguments if pair[0] in known)
        outcome = plan(found, self.now, dict(given))
        if isinstance(outcome, Refused) and needed:
            raise CannotSolve(
                *(
                    Problem(
                        reason, hint=f"the rule {rule} refuses: write a job and see to that first"
                    )
                    for reason in outcome.reasons
                )
            )
        if isinstance(outcome, Applied):
            text = f"apply {rule}" + (
                " : " + ", ".join(f"{name}={value}" for name, value in given) if given else ""
            )
            self.steps.append(Apply(rule, given, self.place, text))
            self.now = outcome.after

    def _tubes(self, facts: Facts) -> None:
        for name in sorted(facts.heaters.parts, key=list(self.before.by_name).index):
            part = self.before.by_name[name]
            tube = library.find(part.type) if part.kind == "tube" else None
            if tube is None or tube.is_rectifier or name not in self.now.by_name:
                continue
            near = [
                one
                for one in stand_ins(tube)
                if abs(one.way.volts.value - PARALLEL_VOLTS) <= 0.1 * PARALLEL_VOLTS
            ]
            if not near:
                raise CannotSolve(
                    Problem(
                        f"nothing in the library with a 6.3 V heater stands near the {tube.type} of"
                        f" {name}",
                        part.place,
                        hint="write a job, and exchange it there for what you choose",
                    )
                )
            if near[0].new is tube:
                self._take("rewire-tapped-heater", ("tube", name))
            else:
                accept = () if near[0].standing.word == SAME_CURVES else (("accept", "yes"),)
                self._take("exchange-tube", ("tube", name), ("type", near[0].new.type), *accept)

    def _attach(self, common: str, chassis: str) -> None:
        ports = {
            "bplus": self.feed.rail,
            "common": common,
            "heater1": PAIR[0],
            "heater2": PAIR[1],
            "earth": chassis,
        }
        if any(part.kind == "motor" for part in self.before.parts):
            ports |= MOTOR
        names = (*ports, "switch1", "switch2")
        text = f'attach "{FILE}" as {SUPPLY} : ' + ", ".join(
            f"{port}={node}" for port, node in ports.items()
        )
        self.steps.append(Attach(FILE, SUPPLY, tuple(ports.items()), self.place, text))
        self.now = apply_edit(
            self.now, AttachCircuit(stand_in(self.before.mains, names, bonded=False), SUPPLY)
        )
        rule, _ = catalogue.load(CONNECT)
        known = {parameter.name for parameter in rule.parameters}
        told = {("chassis" if port == "earth" else port): node for port, node in ports.items()}
        outcome = plan(
            rule,
            self.now,
            {name: node for name, node in told.items() if name in known}
            | {
                f"{name}-port": f"{SUPPLY}/{port}"
                for name, port in zip(told, ports, strict=True)
                if f"{name}-port" in known
            },
        )
        if isinstance(outcome, Refused):
            raise CannotSolve(
                *(
                    Problem(reason, hint="the supply cannot be attached: write a job")
                    for reason in outcome.reasons
                )
            )
        self.now = outcome.after
        nodes = dict(self.now.ports)
        for port, node in MOTOR.items():
            if port in ports:
                wire = Part(
                    self.now.free_part_name("W"),
                    "wire",
                    pins=(("1", nodes.get(f"{SUPPLY}/{port}", f"{SUPPLY}/{port}")), ("2", node)),
                )
                self.now = self.now.with_parts((*self.now.parts, wire))

    def _bond(self, chassis: str, common: str) -> None:
        """Bond to the chassis what a hand can reach and is joined to no earth, as the sleeve of a
        jack or the shield of a pickup, and the common.

        The common is bonded in the amplifier, so that it stays earthed when a contact of the
        umbilical opens.
        """
        for node in (*unbonded(self.now), common):
            self._take("bond-common", ("common", node), ("chassis", chassis), needed=False)


def unbonded(circuit: Circuit) -> tuple[str, ...]:
    """Return a node of every piece of metal that a hand can reach and no conductor joins to earth;
    the leads of a speaker are left floating.
    """
    facts = Facts(circuit)
    found: dict[str, str] = {}
    for node in sorted(circuit.within_reach):
        if (
            node in circuit.at
            and facts.point(node) in facts.metal - facts.earthed
            and not _is_speaker(circuit, node)
        ):
            found.setdefault(facts.point(node), node)
    return tuple(found.values())


def _is_speaker(circuit: Circuit, node: str) -> bool:
    return all(
        part.kind in ("speaker", "output transformer", "wire") for part, _ in circuit.at[node]
    )


def common_of(circuit: Circuit, feed: Feed) -> str:
    """Return the node of the circuit's own negative, by its name where it has one."""
    facts = Facts(circuit)
    named = sorted(node for node in circuit.nodes if facts.point(node) in facts.common)
    return next(
        (node for node in named if node.upper() == "COMMON"), named[0] if named else feed.back
    )
