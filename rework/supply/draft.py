"""A conversion drafted for a circuit that has no job yet: the built-in rules in their usual order,
with what this circuit calls things.
"""

from __future__ import annotations

from rework.anatomy.grounds import to_earth
from rework.anatomy.rectifiers import shares_bulb
from rework.anatomy.units import tube_of
from rework.circuit.circuit import Circuit, Mains
from rework.circuit.parts import Part, Value
from rework.circuit.place import Place, Problem
from rework.circuit.preferred import E6, nearest
from rework.language.job import Apply, Attach, Job
from rework.language.quantity import write_value
from rework.rules import catalogue
from rework.rules.computed import computed_names
from rework.rules.conversion import ConversionKind, conversions
from rework.rules.facts import Facts
from rework.rules.rewrite import Applied, Outcome, Refused, plan
from rework.rules.run import attached
from rework.solve.network import CannotSolve
from rework.supply.amplifier import NoSupply, amplifier, stand_in
from rework.supply.blocking import shocking_at_b_plus
from rework.supply.bonds import common_of, floating_windings, unbonded
from rework.supply.feed import Feed
from rework.supply.weak import too_few_volts, weak_capacitors
from rework.touch.stored import after_unplugging, stored
from rework.tubes.relatives import PARALLEL_VOLTS, SAME_CURVES, stand_ins
from rework.tubes.tubetype import TubeType

#: Names the draft gives: the supply, its file, the heater pair, the return of back bias.
SUPPLY, FILE, PAIR, RETURN = "SUPPLY", "supply.circuit", ("HEAT1", "HEAT2"), "NEGATIVE"
#: Volts of the capacitors fitted anew behind the old filter resistors: what a small supply can rise
#: to with cold tubes.
CAPACITOR_VOLTS = 350.0
#: How often capacitors are looked for that the new B+ is too much for.
WEAK_ROUNDS = 3


def draft(circuit: Circuit, feed: Feed) -> Job:
    """Return a job that gives the circuit a new supply at the umbilical.

    Raises CannotSolve with the reasons of the rule that refuses, or where a bulb that holds the
    rectifier would be fed by it alone.
    """
    shared = next((p for p in circuit.parts if p.name in feed.rectifiers and shares_bulb(p)), None)
    if shared is not None:
        raise CannotSolve(
            Problem(
                f"{shared.name} holds the rectifier and another tube in one bulb, so the amplifier"
                " cannot be taken off its supply",
                shared.place,
                hint="keep the set behind an isolating transformer: apply isolate-keep-rectifier",
            )
        )
    return _Draft(circuit, feed).job()


def draft_text(job: Job, circuit_file: str, mains: Mains | None = None) -> str:
    """Return the text of a drafted job on a circuit file of that name, of a set for ``mains``."""
    direct = mains is not None and not mains.hertz
    line = (
        ["# mains 230 V 50 Hz    # write the alternating line that it will be on"] if direct else []
    )
    lines = [
        (
            "# Drafted by rework options: the built-in rules in their usual order. Read every line"
            " before you trust one."
        ),
        f"# The supply is still to be designed: rework supply THIS.job -o {FILE}",
        "",
        f'job "{job.title}"',
        f'circuit "{circuit_file}"',
        *line,
        "",
        *(step.text for step in job.steps),
    ]
    return "\n".join(lines) + "\n"


def isolating_text(circuit: Circuit, circuit_file: str, why: str) -> str | None:
    """Return the text of a job that leaves the set as it is behind an isolating transformer, for
    one to which no new supply can be given; None where that leaves a tie to the mains.

    ``why`` is the reason that no new supply is possible.
    """
    kept = next((c for c in conversions(circuit) if c.kind is ConversionKind.ISOLATE), None)
    if kept is None:
        return None
    chassis = to_earth(circuit) or common_of(circuit, None)
    lines = [
        "# Drafted by rework options: the set stays as it is, behind an isolating transformer. Read"
        " every line before you trust one.",
        f"# No new supply is drafted: {why}.",
        "",
        f'job "{circuit.title.removesuffix(", as found")}: isolating transformer, drafted"',
        f'circuit "{circuit_file}"',
        "",
        *kept.rules,
        *(
            f"apply bond-common : common={node}, chassis={chassis}"
            for node in (*unbonded(kept.after), *(end for _, end in floating_windings(kept.after)))
        ),
        *(
            f"apply change-value : part={name}, value={volts:g} V"
            for name, volts in too_few_volts(kept.after)
        ),
    ]
    return "\n".join(lines) + "\n"


class _Draft:
    """Steps are taken one by one on the circuit as they are written down; what finds nothing to do
    is left out.
    """

    def __init__(self, circuit: Circuit, feed: Feed) -> None:
        self.before = self.now = circuit
        #: As a job does, so that a new part has the same name there.
        self.used = frozenset(circuit.by_name)
        self.facts = Facts(circuit)
        self.feed = feed
        self.steps: list[Apply | Attach] = []
        self.place = Place(circuit.file or "draft", 1, 1, 2)

    def job(self) -> Job:
        """Return the job with every step that does something."""
        common = common_of(self.before, self.feed)
        chassis = to_earth(self.before) or common
        backed = bool(self.facts.back_biased)
        self._off_the_line(backed)
        self._tubes()
        self._take("cut-heater-string")
        self._attach(RETURN if backed else common, chassis)
        self._motors()
        for node in (*unbonded(self.now), common):
            self._take("bond-common", ("common", node), ("chassis", chassis), needed=False)
        for switch in self._switches():
            self._take("reuse-power-switch", ("switch", switch), ("chassis", chassis), needed=False)
        self._filters(common)
        self._weak_capacitors()
        self._bleeder()
        self._within_reach(common, chassis)
        return self._as_job()

    def _as_job(self) -> Job:
        """Return the job with the steps that are taken so far."""
        title = self.before.title.removesuffix(", as found")
        return Job(
            f"{title}: new isolated supply, drafted",
            self.before.file or "amplifier.circuit",
            tuple(self.steps),
            file="",
            circuit_place=self.place,
        )

    def _off_the_line(self, backed: bool) -> None:
        """Take the steps that ask where the line is, the cord last."""
        self._take("keep-dial-lamp", needed=False)
        self._take("open-line-to-chassis")
        self._take("take-out-heater-transformer")
        self._take("take-out-dropper")
        if backed:
            self._take("keep-back-bias", ("return", RETURN))
        self._take("remove-rectifier")
        self._take("remove-filter")
        line = self.facts.line
        for part in self.before.parts:
            ends = self.facts.points(node for _, node in part.pins)
            on_line = line & ends - self.facts.common - self.facts.metal
            if part.kind == "electrolytic" and part.name in self.now.by_name and on_line:
                self._take("take-out-part", ("part", part.name))
        self._take("take-out-autotransformer")
        self._take("release-line-cord")

    def _take(self, rule: str, *arguments: tuple[str, str], needed: bool = True) -> None:
        """Take a step; what finds nothing to do is not written down.

        Raises CannotSolve where a rule that is ``needed`` refuses.
        """
        outcome = self._planned(rule, *arguments)
        given = ", ".join(f"{name}={value}" for name, value in arguments)
        text = f"apply {rule}" + (f" : {given}" if given else "")
        if isinstance(outcome, Refused) and needed:
            hint = f"the rule {rule} refuses: write a job and do that first"
            raise CannotSolve(*(Problem(reason, hint=hint) for reason in outcome.reasons))
        self._done(Apply(rule, arguments, self.place, text), outcome)

    def _planned(self, rule: str, *arguments: tuple[str, str]) -> Outcome:
        """Return what a rule would do now; raises CannotSolve where it cannot be read."""
        rule_read, problems = catalogue.load(rule)
        if rule_read is None:
            raise CannotSolve(*problems)
        return plan(rule_read, self.now, dict(arguments), used=self.used)

    def _done(self, step: Apply | Attach, outcome: Outcome) -> None:
        if isinstance(outcome, Applied):
            self.steps.append(step)
            self.now = outcome.after
            self.used |= self.now.by_name.keys()

    def _tubes(self) -> None:
        """Exchange or rewire every tube whose heater is not one for 6.3 V as it is wired."""
        for part in self.before.parts:
            tube = tube_of(part)
            if tube is None or tube.is_rectifier or part.name not in self.now.by_name:
                continue
            if not self.facts.heaters.is_for(part, PARALLEL_VOLTS):
                self._tube(part, tube)

    def _tube(self, part: Part, tube: TubeType) -> None:
        near = [
            stand_in
            for stand_in in stand_ins(tube)
            if abs(stand_in.way.volts.value - PARALLEL_VOLTS) <= 0.1 * PARALLEL_VOLTS
        ]
        if not near:
            raise CannotSolve(
                Problem(
                    f"the library has nothing with a 6.3 V heater near the {tube.type} of"
                    f" {part.name}",
                    part.place,
                    hint=(
                        "write a job: keep the tube on a winding of its own voltage, or exchange it"
                        " for a type you choose and redesign the stage"
                    ),
                )
            )
        if near[0].new is tube:
            self._take("rewire-tapped-heater", ("tube", part.name))
            return
        accept = () if near[0].standing.word == SAME_CURVES else (("accept", "yes"),)
        self._take("exchange-tube", ("tube", part.name), ("type", near[0].new.type), *accept)

    def _attach(self, common: str, chassis: str) -> None:
        nodes = {
            "bplus": self.feed.rail,
            "common": common,
            "heater1": PAIR[0],
            "heater2": PAIR[1],
            "earth": chassis,
        }
        ports = tuple(nodes.items())
        text = f'attach "{FILE}" as {SUPPLY} : ' + ", ".join(f"{p}={node}" for p, node in ports)
        mains = self.before.mains
        if mains is None:
            raise CannotSolve(
                Problem(
                    "the file does not say which line it is for", hint="write mains 117 V 60 Hz"
                )
            )
        more = ("switch1", "switch2", "motor1", "motor2", "motor-earth")
        supply = stand_in(mains, (*nodes, *more), bonded=False)
        step = Attach(FILE, SUPPLY, ports, self.place, text)
        _, outcome, problems = attached(step, self.now, lambda _: (supply, ()), used=self.used)
        if isinstance(outcome, Refused):
            hint = "the supply cannot be attached: write a job"
            reasons = (Problem(reason, hint=hint) for reason in outcome.reasons)
            raise CannotSolve(*problems, *reasons)
        self._done(step, outcome)

    def _motors(self) -> None:
        """Feed every motor from the new supply, with a resistor where it is for fewer volts."""
        for part in self.now.parts:
            if part.kind != "motor":
                continue
            computed = computed_names({"motor": part.name}, self.before)
            ohms, watts = (computed.get(f"motor.series-{what}", "") for what in ("ohms", "watts"))
            series = (("series", f"{ohms} {watts}"),) if ohms else ()
            self._take("feed-motor", ("motor", part.name), *series)

    def _switches(self) -> list[str]:
        """Return the old line switch, by its name."""
        line = self.facts.line
        return [
            part.name
            for part in self.before.parts
            if part.kind == "switch"
            and part.name in self.now.by_name
            and line & self.facts.points(node for _, node in part.pins)
        ][:1]

    def _weak_capacitors(self) -> None:
        """Exchange the capacitors that are not made for the new B+; what they no longer limit may
        let it be higher, so ask again.
        """
        for _ in range(WEAK_ROUNDS):
            try:
                amp = amplifier(self._as_job(), lambda _: (self.before, ()))
            except NoSupply:
                return
            weak = weak_capacitors(amp)
            for name, volts in weak:
                self._take("change-value", ("part", name), ("value", f"{volts:g} V"))
            if not weak:
                return

    def _filters(self, common: str) -> None:
        """Renew the capacitors behind the old filter resistors."""
        rail = self.facts.point(self.feed.rail)
        for part in self.before.parts:
            node = part.node("plus")
            if node is not None and self.facts.point(node) not in self.facts.rail:
                node = part.node("minus")  # a bipolar one may be written either way round
            if node is None or not self.facts.is_filter(part) or self.facts.point(node) == rail:
                continue
            if part.name in self.now.by_name or node not in self.now.at:
                continue
            farads = nearest(part.value("capacitance") or 22e-6, E6)
            value = f"{write_value(Value('capacitance', farads))} {CAPACITOR_VOLTS:g} V"
            arguments = (("node", node), ("common", common), ("capacitor", value))
            self._take("renew-filter-capacitor", *arguments, needed=False)

    def _bleeder(self) -> None:
        """Fit a bleeder where the contacts of the pulled umbilical would stay charged too long.

        The supply is not designed yet, so the filter capacitors start from what they are made for:
        no supply that fits charges them to more.
        """
        facts = Facts(self.now)
        old = {charge.part for charge in stored(self.before)}
        volts = {
            part.name: part.value("voltage") or CAPACITOR_VOLTS
            for part in self.now.parts
            if part.kind == "electrolytic" and (part.name in old or facts.is_filter(part))
        }
        for pins in after_unplugging(self.now, volts=volts).pins:
            if pins.bleeder is None:
                continue
            node, common = pins.bleeder.nodes
            figures = " ".join(map(write_value, pins.bleeder.part.values))
            arguments = (("node", node), ("common", common), ("resistor", figures))
            self._take("fit-bleeder", *arguments, needed=False)

    def _within_reach(self, common: str, chassis: str) -> None:
        """Put a capacitor behind each input jack, and a bond on each speaker winding, on which one
        fault inside the set puts more direct current than the limit, where it no longer does then.
        """
        jacks = [part for part in self.now.parts if part.kind == "jack" and part.node("tip")]
        floating = floating_windings(self.now)
        blocking = (
            self._planned("block-input", ("jack", jack.name), ("common", common)) for jack in jacks
        )
        if not floating and not any(isinstance(outcome, Applied) for outcome in blocking):
            return
        volts = max((charge.volts for charge in stored(self.before)), default=0.0)
        held = self._switches()
        shocking = shocking_at_b_plus(self.now, SUPPLY, volts, held)
        steps, now = list(self.steps), self.now
        tried: set[str] = set()
        for jack in jacks:
            if jack.at("tip") in shocking:
                tried.add(jack.at("tip"))
                arguments = (("jack", jack.name), ("common", common))
                self._take("block-input", *arguments, needed=False)
        for start, finish in floating:
            if {start, finish} & shocking:
                tried |= {start, finish} & shocking
                arguments = (("common", finish), ("chassis", chassis))
                self._take("bond-common", *arguments, needed=False)
        if self.now is not now and tried & shocking_at_b_plus(self.now, SUPPLY, volts, held):
            self.steps, self.now = steps, now
