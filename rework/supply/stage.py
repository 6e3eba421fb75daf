"""An output stage made to suit its tube: what load its transformer gives, and which resistors give
most watts inside every rating.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from rework.anatomy.amplifier import of
from rework.anatomy.heaters import closed_points
from rework.anatomy.units import element_at
from rework.circuit.circuit import Circuit
from rework.circuit.edits import FitPart, SetValue, apply_edit
from rework.circuit.parts import Part, Value, strands
from rework.circuit.preferred import E12, E24, WATTS, nearest, rating
from rework.rules.facts import Facts
from rework.solve.devices import Pentode
from rework.solve.rows import class_a
from rework.supply.bench import AmplifierBench, Floats, Work
from rework.tubes import library
from rework.tubes.relatives import StandIn, nearest_row

#: A load between these shares of the printed one is near enough (common practice, no source: power
#: changes slowly about its best).
LOAD_SUITS = (0.7, 1.4)
#: Watts into the load that is there, as a share of the most that any load would give here, from
#: which on it is near enough (no source).
WATTS_SUIT = 0.8
#: Ratio of the largest to the least resistor tried, about the one that is there.
SCAN = 3.3
#: Loads tried for the best, ohms: those that small output transformers are sold for (common
#: practice, no source).
LOADS = (
    1500.0,
    2000.0,
    2500.0,
    3000.0,
    3500.0,
    4000.0,
    4500.0,
    5000.0,
    5600.0,
    7000.0,
    8000.0,
    10000.0,
)
#: A new resistor takes at most this share of the watts it is made for (common practice, no source:
#: twice the watts).
RESISTOR_SHARE = 0.5
#: Screen resistors tried, ohms, and the farads that bypass one (common practice, no source).
SCREEN_OHMS = (
    *(100.0, 220.0, 470.0, 1000.0, 1500.0, 2200.0),
    *(3300.0, 4700.0, 6800.0, 10000.0, 15000.0, 22000.0),
)
SCREEN_FARADS = 10e-6
#: The distortion at which the stage's watts are told, that at which clipping begins.
DISTORTION = 0.10


@dataclass(frozen=True, slots=True)
class ResistorToFit:
    """A resistor to fit: in place of ``part`` (or new, with ``old_ohms`` None), its preferred value
    and the watts it is made for.
    """

    part: str
    old_ohms: float | None
    ohms: float
    watts: float | None
    series: str


@dataclass(frozen=True, slots=True)
class StageLoad:
    """The load that the present output transformer gives, and what the type wants.

    ``presented`` in ohms; ``printed`` is the load of the printed row nearest in plate volts
    (``at_volts``, of type ``of``, with its ``grade``); ``best`` the preferred load that gives most
    watts at this working point, and how many; None is not known.
    """

    transformer: str
    presented: float
    printed: float | None
    at_volts: float | None
    of: str
    grade: str
    stage_watts: float | None
    best: float | None
    best_watts: float | None

    @property
    def suits(self) -> bool | None:
        """Whether the transformer is near the printed load or gives near the most watts as
        computed; None where neither is known.
        """
        if self.printed is None and not self.best_watts:
            return None
        low, high = LOAD_SUITS
        near = self.printed is not None and low <= self.presented / self.printed <= high
        return near or bool(
            self.best_watts
            and self.stage_watts is not None
            and self.stage_watts >= WATTS_SUIT * self.best_watts
        )


def presented_ohms(circuit: Circuit, output: Part) -> float | None:
    """Return the load a single-ended output transformer gives with the speaker that is on it, in
    ohms; None where that is not known.

    Turns go as the square roots of the loads the windings are made for. A speaker behind a switch
    counts where the switch is drawn to it.
    """
    sizes = {
        name: value.amount
        for name, values in output.windings
        for value in values
        if value.role == "load" and value.dimension == "resistance"
    }
    runs = {run[0].split(".")[0]: run for run in strands(output) if len(run) > 1}
    primary = sizes.get("primary")
    if len(runs.get("primary", ())) < 2 or not primary:
        return None
    wiring = of(circuit).wiring
    closed = closed_points(wiring)

    def point(node: str) -> str:
        return closed[wiring.point(node)]

    admittance = 0.0
    for name, run in runs.items():
        size = sizes.get(name)
        if name == "primary" or not size:
            continue
        ends = {point(output.at(run[0])), point(output.at(run[-1]))}
        for part in circuit.parts:
            ohms = part.value("resistance")
            if part.kind in ("speaker", "dummy load") and ohms:
                points = {point(node) for end, node in part.pins if end in ("1", "2")}
                admittance += size / ohms / primary if points == ends else 0.0
    return 1 / admittance if admittance else None


@dataclass(frozen=True, slots=True)
class _Pentode:
    """An output pentode over a stack of variants: its law, and the volts of plate, screen and grid
    to its cathode.
    """

    law: Pentode
    work: Work
    volts: tuple[Floats, Floats, Floats]

    def at(self, number: int = 0) -> tuple[float, float, float]:
        """Return the volts of one variant."""
        plate, screen, grid = self.volts
        return float(plate[number]), float(screen[number]), float(grid[number])


def _pentode(bench: AmplifierBench, name: str, x: Floats) -> _Pentode | None:
    """Return the pentode of a tube at unknowns ``x``, None for a triode."""
    for work in bench.work(x):
        if work.part != name or work.screen_volts is None:
            continue
        law = bench.device(name, work.unit).law
        if isinstance(law, Pentode):
            return _Pentode(law, work, (work.plate_volts, work.screen_volts, work.grid_volts))
    return None


def load_of(
    bench: AmplifierBench, name: str, stand_in: StandIn, output: Part, presented: float
) -> StageLoad | None:
    """Return the load the output transformer gives a tube at its working point, beside the printed
    one and the best; None for a triode.
    """
    pentode = _pentode(bench, name, bench.point[None])
    if pentode is None:
        return None
    at = pentode.at()
    watts = {ohms: _stage_watts(pentode.law, at, ohms) for ohms in LOADS}
    best = max(watts, key=lambda ohms: watts[ohms])
    row = nearest_row(stand_in.loads, at[0])
    return StageLoad(
        output.name,
        presented,
        row["load_ohms"].value if row else None,
        row["plate_volts"].value if row else None,
        stand_in.loads_of,
        row["load_ohms"].grade if row else "",
        _stage_watts(pentode.law, at, presented),
        best,
        watts[best],
    )


def _stage_watts(law: Pentode, at: tuple[float, float, float], ohms: float) -> float:
    """Return the watts of an output stage at 10 % distortion or at a grid driven to its cathode,
    whichever comes first.
    """
    drive = -at[2]
    while drive > 0.2:
        driven = class_a(law, *at, ohms, drive, distortion=DISTORTION)
        if driven["distortion"] <= 1.001 * DISTORTION:
            return float(driven["watts"])
        drive *= 0.4
    return 0.0


def resistors(
    bench: AmplifierBench, facts: Facts, names: tuple[str, ...], presented: float | None
) -> tuple[ResistorToFit, ...]:
    """Return the cathode resistor, and where need be a screen resistor, that give most watts inside
    every rating; none where nothing does better.

    Without a load that is known (push-pull) it is the one nearest to the old one inside
    every rating. A screen resistor is for a tube alone. Where nothing keeps the tube inside its
    ratings the cathode resistor is the one that comes nearest.
    """
    name = names[0]
    bias = _bias_resistor(bench.circuit, facts, name)
    old = bias.value("resistance") if bias is not None else None
    if bias is None or old is None:
        return ()
    scan = sorted(
        {nearest(float(ohms), E24) for ohms in np.geomspace(old / SCAN, old * SCAN, 60)} | {old}
    )
    best = _best(bench, name, presented, bias.name, scan)
    if best is None:
        return ()
    ohms, over = best
    kept = () if ohms == old else (_fitted(bench, bias, ohms),)
    if len(names) == 1 and any(key.startswith("screen_") for key in over):
        return _with_screen(bench, name, presented, bias, scan) or kept
    return kept


def _best(
    bench: AmplifierBench, name: str, presented: float | None, bias: str, scan: list[float]
) -> tuple[float, tuple[str, ...]] | None:
    """Return the cathode resistor that gives most watts of those inside every rating, or that comes
    nearest, and what is over then.
    """
    pentode = _pentode(bench, name, bench.solve(ohms={bias: scan}))
    if pentode is None:
        return None
    rows = [(s.key, values, s.rating) for s, values in pentode.work.loads if s.rating]
    far = [
        max([1.0, *(float(values[number]) / limit for _, values, limit in rows)])
        for number in range(len(scan))
    ]
    near = [number for number in range(len(scan)) if far[number] <= min(far) * 1.001]
    if presented is None:
        old = bench.circuit.by_name[bias].value("resistance") or scan[0]
        chosen = min(near, key=lambda number: max(scan[number] / old, old / scan[number]))
    elif len(near) == 1:
        chosen = near[0]
    else:
        watts = {n: _stage_watts(pentode.law, pentode.at(n), presented) for n in near}
        chosen = max(near, key=lambda number: (round(watts[number], 3), scan[number]))
    over = tuple(key for key, values, limit in rows if values[chosen] > limit)
    return scan[chosen], over


def _with_screen(
    bench: AmplifierBench, name: str, presented: float | None, bias: Part, scan: list[float]
) -> tuple[ResistorToFit, ...]:
    """Return a screen resistor with a cathode resistor that keep the screen inside its ratings, or
    nothing.
    """
    for ohms in SCREEN_OHMS:
        trial = ResistorToFit(f"screen of {name}", None, ohms, None, "E12")
        screened = AmplifierBench(
            with_resistors(bench.circuit, name, (trial,)), bench.feed, bench.volts
        )
        best = _best(screened, name, presented, bias.name, scan)
        if best is None or any(what.startswith("screen") for what in best[1]):
            continue
        cathode = _fitted(screened, bias, best[0])
        both = with_resistors(screened.circuit, name, (cathode,))
        amplifier_bench = AmplifierBench(both, bench.feed, bench.volts)
        pentode = _pentode(amplifier_bench, name, amplifier_bench.point[None])
        amps = pentode.work.screen_amps if pentode is not None else None
        if amps is None:
            continue
        watts = rating(float(amps[0]) ** 2 * ohms / RESISTOR_SHARE, WATTS)
        kept = best[0] == bias.value("resistance")
        return (*(() if kept else (cathode,)), replace(trial, watts=watts))
    return ()


def _fitted(bench: AmplifierBench, bias: Part, ohms: float) -> ResistorToFit:
    volts = float(bench.across(bench.solve(ohms={bias.name: [ohms]}), bias.name)[0])
    watts_made = rating(volts * volts / ohms / RESISTOR_SHARE, WATTS)
    return ResistorToFit(
        bias.name,
        bias.value("resistance"),
        ohms,
        watts_made,
        "E12" if nearest(ohms, E12) == ohms else "E24",
    )


def _bias_resistor(circuit: Circuit, facts: Facts, name: str) -> Part | None:
    """Return the resistor that makes an output tube's bias: between its cathode and the common, or
    the one from there to B- with back bias.
    """
    stage = next((each for each in facts.back_biased if each.tube == name), None)
    part = circuit.by_name[name]
    tube = library.find(part.type)
    if stage is not None:
        cathodes, returns = {stage.cathode}, set(stage.returns)
    elif tube is not None:
        unit = next((f"{unit}." for unit in tube.units if tube.pins_of(f"{unit}.screen")), "")
        nodes = (part.node(pin) for pin in tube.pins_of(f"{unit}cathode"))
        cathodes = {facts.point(node) for node in nodes if node is not None}
        returns = set(facts.common)
    else:
        return None
    fits = [
        other
        for other in circuit.parts
        if other.kind == "resistor" and len(other.pins) == 2 and other.value("resistance")
        if (points := {facts.point(node) for _, node in other.pins}) & cathodes and points & returns
    ]
    return fits[0] if len(fits) == 1 else None


def with_resistors(circuit: Circuit, name: str, fit: tuple[ResistorToFit, ...]) -> Circuit:
    """Return the circuit with resistors exchanged or fitted; one before a screen comes with a
    capacitor from there to the cathode.
    """
    for each in fit:
        if each.old_ohms is None:
            circuit = _screened(circuit, name, each.ohms)
            continue
        old = circuit.by_name[each.part]
        kept = tuple(v for v in old.values if v.dimension not in ("resistance", "power"))
        watts = (Value("power", each.watts),) if each.watts else ()
        values = (Value("resistance", each.ohms), *watts, *kept)
        circuit = apply_edit(circuit, SetValue(each.part, values, old.words))
    return circuit


def _screened(circuit: Circuit, name: str, ohms: float) -> Circuit:
    """Return the circuit with a resistor before the screen of a tube, bypassed to its cathode."""
    tube = circuit.by_name[name]
    elements = {pin: element_at(tube, pin) for pin, _ in tube.pins}
    screens = [pin for pin, element in elements.items() if element == "screen"]
    known = library.find(tube.type)
    pentode = known.pins_of("pentode.cathode") or known.pins_of("cathode") if known else ()
    cathode = next(node for pin, node in tube.pins if pin in pentode)
    rail, fresh = tube.at(screens[0]), circuit.free_node_name(f"{name}-SCREEN")
    moved = tuple((pin, fresh if pin in screens else on) for pin, on in tube.pins)
    circuit = circuit.with_parts(
        tuple(replace(part, pins=moved) if part.name == name else part for part in circuit.parts)
    )
    resistor = Part(
        circuit.free_part_name("R"),
        "resistor",
        values=(Value("resistance", ohms),),
        pins=(("1", rail), ("2", fresh)),
    )
    bypass = Part(
        circuit.free_part_name("C"),
        "electrolytic",
        values=(Value("capacitance", SCREEN_FARADS),),
        pins=(("plus", fresh), ("minus", cathode)),
    )
    return apply_edit(apply_edit(circuit, FitPart(resistor)), FitPart(bypass))
