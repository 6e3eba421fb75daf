"""The resistor that goes with a silicon rectifier: the one that keeps B+ where selenium had it, or
that brings it down to what the set withstands.
"""

from __future__ import annotations

from dataclasses import dataclass

from rework.anatomy.amplifier import of
from rework.anatomy.line import fed_by_winding
from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, Value
from rework.circuit.preferred import E12, WATTS, nearest, rating
from rework.language.quantity import write_value
from rework.rules import catalogue
from rework.rules.rewrite import Applied, plan
from rework.solve.assemble import assemble
from rework.solve.network import CannotSolve
from rework.solve.periodic import mains_steady
from rework.supply.bench import AmplifierBench, ratings
from rework.supply.feed import Feed
from rework.supply.states import rms

#: Resistors looked for, ohms: from less than any that is fitted to more than any (common practice:
#: 33 to 47 ohm on 117 V, 150 to 180 ohm on 230 V).
LEAST_OHMS, MOST_OHMS = 1.0, 2200.0
#: Ohms tried first, steps of the search at most, and how near B+ has to come, as a share.
FIRST_OHMS, STEPS, CLOSE = 33.0, 10, 2e-3
#: A resistor is made for this many times the watts it takes (common practice, no source).
RESERVE = 2.0
#: B+ that is aimed at under the first rating (see ``needs``).
NEAR = 0.97


@dataclass(frozen=True, slots=True)
class SurgeResistor:
    """The resistor for one rectifier: its ohms as computed and as they are made, watts to order, B+
    without it and with it, what B+ was aimed at and why, and the line of the job that fits it.
    """

    part: str
    kind: str
    exact_ohms: float
    ohms: float
    watts: float
    bplus_without: float
    bplus: float
    aim: float
    why: str
    step: str


def surge_resistors(circuit: Circuit, feed: Feed) -> tuple[SurgeResistor, ...]:
    """Return the resistor for every selenium rectifier off the line that silicon may replace, and
    for every silicon one that has none.

    Raises CannotSolve where the set has no numbers.
    """
    anatomy = of(circuit)
    surges = []
    for name in feed.rectifiers:
        part = circuit.by_name[name]
        apart = not fed_by_winding(anatomy.wiring, anatomy.line, part)
        bare = part.kind == "diode" and anatomy.wiring.of(part, "anode") in anatomy.line
        if apart and (part.kind == "selenium" or bare) and len(part.ends) == 2:
            resistor = _for(circuit, feed, part)
            if resistor is not None:
                surges.append(resistor)
    return tuple(surges)


def _for(circuit: Circuit, feed: Feed, part: Part) -> SurgeResistor | None:
    """Return the resistor for one rectifier, None where B+ needs none."""
    as_found, _ = _solved(circuit, feed, "")
    if part.kind == "selenium":
        rule, aim, why = "selenium-to-silicon", as_found, "the B+ that the selenium gives"
    else:
        most = ratings(AmplifierBench(circuit, feed, as_found)).most_volts
        rule, aim, why = "fit-surge-resistor", NEAR * most, "3 % under the first rating of the set"
    without, _ = _solved(_with(circuit, rule, part.name, LEAST_OHMS), feed, "")
    if without <= aim:
        return None
    exact = _ohms_for(circuit, feed, rule, part.name, without, aim)
    ohms = nearest(exact, E12)
    fitted = _with(circuit, rule, part.name, ohms)
    fresh = [each.name for each in fitted.parts if each.name not in circuit.by_name]
    name = next(name for name in fresh if fitted.by_name[name].kind == "resistor")
    volts, watts = _solved(fitted, feed, name)
    watts_made = rating(RESERVE * watts, WATTS) or WATTS[-1]
    value = f"{write_value(Value('resistance', ohms))} {write_value(Value('power', watts_made))}"
    step = f"apply {rule} : rectifier={part.name}, resistor={value}"
    return SurgeResistor(
        part.name, part.kind, exact, ohms, watts_made, without, volts, aim, why, step
    )


def _ohms_for(
    circuit: Circuit, feed: Feed, rule: str, name: str, without: float, aim: float
) -> float:
    """Return the ohms that bring B+ from ``without`` to ``aim``, by the secant method."""
    before, over_before = LEAST_OHMS, without - aim
    here = FIRST_OHMS
    for _ in range(STEPS):
        over = _solved(_with(circuit, rule, name, here), feed, "")[0] - aim
        if abs(over) < CLOSE * aim:
            break
        slope = (over - over_before) / (here - before)
        step = here - over / slope if slope < 0 else 2 * here
        before, over_before = here, over
        here = min(max(step, here / 4, LEAST_OHMS), 4 * here, MOST_OHMS)
    return here


def _with(circuit: Circuit, rule: str, name: str, ohms: float) -> Circuit:
    """Return the circuit with silicon and a resistor, as the rule fits them."""
    loaded, problems = catalogue.load(rule)
    if loaded is None:
        raise CannotSolve(*problems)
    value = f"{float(f'{ohms:.6g}'):g} ohm"
    outcome = plan(loaded, circuit, {"rectifier": name, "resistor": value})
    if not isinstance(outcome, Applied):
        raise CannotSolve()
    return outcome.after


def _solved(circuit: Circuit, feed: Feed, resistor: str) -> tuple[float, float]:
    """Return the mean B+ of a set on its line, and the watts of a resistor ("": none)."""
    network = assemble(circuit)
    steady = mains_steady(network)
    mean = steady.mean
    bplus = float(network.volts(mean, feed.rail) - network.volts(mean, feed.back))
    if not resistor:
        return bplus, 0.0
    part = circuit.by_name[resistor]
    start, end = (node for _, node in part.pins)
    volts = rms(network.volts(steady.x, start) - network.volts(steady.x, end))
    return bplus, volts**2 / (part.value("resistance") or 1.0)
