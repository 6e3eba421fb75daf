"""Amplifiers put together from stages at random, shuffled and renamed: the anatomy gives back the
plan they were made from.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from benches import read
from each import each

from rework.anatomy.amplifier import of
from rework.anatomy.function import function
from rework.anatomy.function_row import Working
from rework.anatomy.role import Role
from rework.anatomy.roles import part_roles


@dataclass
class Plan:
    """An amplifier as it is meant: its lines, and what the anatomy has to say of it."""

    lines: list[str] = field(default_factory=list)
    roles: dict[str, Role] = field(default_factory=dict)
    kinds: list[str] = field(default_factory=list)
    ways: list[list[str]] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)

    def add(self, stem: str, says: str, role: Role) -> str:
        """Add a part with the next name of a stem and return the name."""
        self.counts[stem] = self.counts.get(stem, 0) + 1
        name = f"{stem}{self.counts[stem]}"
        self.lines.append(f"{name} {says}")
        self.roles[name] = role
        return name


def coupling(plan: Plan, rng: random.Random, start: str, end: str, number: int) -> list[str]:
    """Add one of the usual ways from a plate to a grid and return the parts on it."""
    kind = rng.choice(["plain", "volume", "blocked volume", "stopper"])
    if kind == "plain":
        way = [plan.add("C", f"capacitor .02 uF 400 V : {start} -- {end}", Role.COUPLING)]
        plan.add("R", f"resistor 470k : {end} -- COMMON", Role.GRID_LEAK)
        return way
    if kind == "stopper":
        way = [
            plan.add("C", f"capacitor .02 uF 400 V : {start} -- Q{number}", Role.COUPLING),
            plan.add("R", f"resistor 10k : Q{number} -- {end}", Role.GRID_STOPPER),
        ]
        plan.add("R", f"resistor 470k : Q{number} -- COMMON", Role.GRID_LEAK)
        return way
    top = f"Q{number}"
    way = [plan.add("C", f"capacitor .02 uF 400 V : {start} -- {top}", Role.COUPLING)]
    if kind == "volume":
        way.append(plan.add("R", f"pot 500k : ccw=COMMON, wiper={end}, cw={top}", Role.VOLUME))
        return way
    way.append(plan.add("R", f"pot 500k : ccw=COMMON, wiper=W{number}, cw={top}", Role.VOLUME))
    way.append(plan.add("C", f"capacitor .01 uF 400 V : W{number} -- {end}", Role.COUPLING))
    plan.add("R", f"resistor 10M : {end} -- COMMON", Role.GRID_LEAK)
    return way


def triode(plan: Plan, rng: random.Random, number: int, rail: str) -> None:
    """Add a triode stage: G1 to P1, with what stands around it."""
    grounded = rng.random() < 0.3
    cathode = "COMMON" if grounded else f"K{number}"
    pins = f"2=COMMON, 7=COMMON, 3=P{number}, 5=G{number}, 8={cathode}, unused 1"
    plan.add("V", f"tube 6J5GT : {pins}", Role.TUBE)
    plan.kinds.append("amplifier")
    if not grounded:
        plan.add("R", f"resistor 2.2k : {cathode} -- COMMON", Role.CATHODE_RESISTOR)
        if rng.random() < 0.6:
            plan.add("C", f"electrolytic 25 uF 25 V : {cathode} -- COMMON", Role.CATHODE_BYPASS)
    plan.add("R", f"resistor 220k : {rail} -- P{number}", Role.PLATE_LOAD)
    if rng.random() < 0.4:
        plan.add("C", f"capacitor 220p : P{number} -- COMMON", Role.PLATE_SHUNT)
    if rng.random() < 0.4:
        plan.add("C", f"capacitor 4.7n 400 V : P{number} -- T{number}", Role.TONE)
        plan.add("R", f"pot 250k : ccw=COMMON, wiper=COMMON, cw=T{number}", Role.TONE)


def output(plan: Plan, rng: random.Random, number: int, rails: list[str]) -> None:
    """Add an output pentode with its transformer and speaker."""
    screen = rails[-1]
    if rng.random() < 0.5:
        screen = "SCR"
        plan.add("R", f"resistor 1k : {rails[0]} -- SCR", Role.SCREEN_DROPPER)
        plan.add("C", "capacitor .1 uF 400 V : SCR -- COMMON", Role.SCREEN_BYPASS)
    pins = f"2=G{number}, 3=K{number}, 4=COMMON, 5=COMMON, 7=P{number}, 9={screen}"
    plan.add("V", f"tube EL84 : {pins}, unused 1 6 8", Role.TUBE)
    plan.kinds.append("output")
    plan.add("R", f"resistor 130 ohm : K{number} -- COMMON", Role.CATHODE_RESISTOR)
    winding = f"primary load 5k = {rails[0]} -- P{number}, secondary load 8 ohm = SP -- COMMON"
    plan.add("T", f"output transformer : {winding}", Role.OUTPUT_TRANSFORMER)
    if rng.random() < 0.4:
        plan.add("C", f"capacitor 4.7n : P{number} -- {rails[0]}", Role.PLATE_SHUNT)
    if number > 1 and plan.kinds[0] == "amplifier" and "-- COMMON" in "\n".join(plan.lines):
        below = [line for line in plan.lines if ": K1 -- COMMON" in line]
        bypassed = any("electrolytic" in line for line in below)
        if below and not bypassed and rng.random() < 0.6:
            plan.add("R", "resistor 4.7k : SP -- K1", Role.FEEDBACK)
    plan.add("LS", "speaker 8 ohm : 1=SP, 2=COMMON", Role.LOAD)


def planned(seed: int) -> Plan:
    """Return an amplifier of one to four stages on one to three rails."""
    rng = random.Random(seed)
    plan = Plan()
    rails = ["BP"]
    plan.add("P", "plug two-blade : line=BP, neutral=COMMON", Role.PLUG)
    stages = rng.randint(1, 4)
    # a point with one screen and a capacitor on it is that screen's: more than one stage, then
    for number in range(2, 2 + rng.randint(0, 2) if stages > 1 else 2):
        rail = f"B{number}"
        plan.add("R", f"resistor 10k : {rails[-1]} -- {rail}", Role.FILTER_RESISTOR)
        plan.add("C", f"electrolytic 20 uF 350 V : {rail} -- COMMON", Role.FILTER_CAPACITOR)
        rails.append(rail)
    plan.add("J", "jack input : tip=IN, sleeve=COMMON", Role.INPUT)
    for number in range(1, stages + 1):
        way = coupling(plan, rng, "IN" if number == 1 else f"P{number - 1}", f"G{number}", number)
        plan.ways.append(way)
        if number < stages:
            triode(plan, rng, number, rails[-1])
        else:
            output(plan, rng, number, rails)
    return plan


@each("seed", range(60))
def test_an_amplifier_put_together_at_random_is_taken_apart_as_planned(seed):
    plan = planned(seed)
    lines = plan.lines[:]
    random.Random(seed + 1000).shuffle(lines)
    body = of(read('circuit "random"\nmains 250 V 0 Hz\n' + "\n".join(lines) + "\n"))
    assert [stage.kind for stage in body.stages] == plan.kinds
    assert [stage.number for stage in body.stages] == list(range(1, len(plan.kinds) + 1))
    ways = {c.target: [name for name, _ in c.way] for c in body.couplings}
    assert [ways[stage.label] for stage in body.stages] == plan.ways
    roles = {name: role.role for name, role in part_roles(body).items()}
    assert {n: r for n, r in roles.items() if r is not plan.roles[n]} == {}
    fed_back = {name for way in body.feedbacks for name in way.parts}
    assert fed_back == {name for name, role in plan.roles.items() if role is Role.FEEDBACK}
    bad = {row.aspect for row in function(body.circuit) if row.working is Working.FAULT}
    assert bad <= {"heater"}, "the heaters are not wired here"
