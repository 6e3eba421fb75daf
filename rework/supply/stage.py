"""An output stage made to suit its tube: what load its transformer gives, and which resistors give
most watts inside every rating.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit
from rework.circuit.edits import FitPart, SetValue, apply_edit
from rework.circuit.parts import Part, Value, strands
from rework.rules.facts import Facts
from rework.solve.devices import Pentode
from rework.solve.fit import class_a
from rework.supply.bench import Bench
from rework.supply.preferred import E12, E24, WATTS, nearest, rating
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
#: The distortion at which the stage's watts are told, that at which clipping begins.
DISTORTION = 0.10


@dataclass(frozen=True, slots=True)
class Fitted:
    """A resistor to fit: in place of ``part`` (or new, with ``old_ohms`` None), its preferred value
    and the watts it is made for.
    """

    part: str
    old_ohms: float | None
    ohms: float
    watts: float | None
    series: str


@dataclass(frozen=True, slots=True)
class Load:
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
        near = [
            self.printed is not None
            and LOAD_SUITS[0] <= self.presented / self.printed <= LOAD_SUITS[1],
            bool(self.best_watts) and self.stage_watts >= WATTS_SUIT * self.best_watts,
        ]
        return None if self.printed is None and not self.best_watts else any(near)


def presented_ohms(circuit: Circuit, output: Part) -> float | None:
    """Return the load a single-ended output transformer gives with the speaker that is on it, in
    ohms; None where that cannot be told.

    Turns go as the square roots of the loads the windings are made for.
    """
    sizes = {
        name: next(
            (v.amount for v in values if v.role == "load" and v.dimension == "resistance"), None
        )
        for name, values in output.windings
    }
    runs = {run[0].split(".")[0]: run for run in strands(output) if len(run) > 1}
    if len(runs.get("primary", ())) != 2 or sizes.get("primary") is None:
        return None
    group = Facts(circuit)
    admittance = 0.0
    for name, run in runs.items():
        if name != "primary" and sizes.get(name):
            ends = [group.point(output.node(end)) for end in (run[0], run[-1])]
            speakers = [
                part
                for part in circuit.parts
                if part.kind in ("speaker", "dummy load")
                and part.value("resistance")
                and {group.point(node) for terminal, node in part.pins if terminal in ("1", "2")}
                == set(ends)
            ]
            admittance += (
                sum(sizes[name] / part.value("resistance") for part in speakers) / sizes["primary"]
            )
    return 1 / admittance if admittance else None


def load_of(
    bench: Bench, name: str, stand_in: StandIn, output: Part, presented: float
) -> Load | None:
    """Return the load the output transformer gives a tube at its working point, beside the printed
    one and the best; None for a triode.
    """
    one = next(
        (
            one
            for one in bench.work(bench.point[None])
            if one.part == name and one.screen_volts is not None
        ),
        None,
    )
    law = bench.device(name, one.unit).law if one is not None else None
    if not isinstance(law, Pentode):
        return None
    at = tuple(float(value[0]) for value in (one.plate_volts, one.screen_volts, one.grid_volts))
    watts = {ohms: _stage_watts(law, at, ohms) for ohms in LOADS}
    best = max(watts, key=lambda ohms: watts[ohms])
    row = nearest_row(stand_in.loads, at[0])
    return Load(
        output.name,
        presented,
        row["load_ohms"].value if row else None,
        row["plate_volts"].value if row else None,
        stand_in.loads_of,
        row["load_ohms"].grade if row else "",
        _stage_watts(law, at, presented),
        best,
        watts[best],
    )


def _stage_watts(law: Pentode, at: tuple[float, float, float], ohms: float) -> float:
    """Return the watts of an output stage at 10 % distortion or at a grid driven to its cathode,
    whichever comes first.
    """
    drive = -at[2]
    while drive > 0.2:
        found = class_a(law, *at, ohms, drive, distortion=DISTORTION)
        if found["distortion"] <= 1.001 * DISTORTION:
            return found["watts"]
        drive *= 0.4
    return 0.0


def resistors(
    bench: Bench, facts: Facts, names: tuple[str, ...], presented: float | None
) -> tuple[Fitted, ...]:
    """Return the cathode resistor, and where need be a screen resistor, that give most watts inside
    every rating; none where nothing does better.

    Without a load that can be told (push-pull) it is the one nearest to the old one inside every
    rating. A screen resistor is for a tube alone. Where nothing keeps the tube inside its ratings
    the cathode resistor is the one that comes nearest.
    """
    import numpy as np

    name = names[0]
    bias = _bias_resistor(bench.circuit, facts, name)
    if bias is None:
        return ()
    old = bias.value("resistance")
    scan = sorted(
        {nearest(float(ohms), E24) for ohms in np.geomspace(old / SCAN, old * SCAN, 60)} | {old}
    )
    best = _best(bench, name, presented, bias.name, scan)
    if best is None:
        return ()
    ohms, over = best
    found = (_fitted(bench, bias, ohms),) if ohms != old else ()
    if len(names) == 1 and any(what.startswith("screen") for what in over):
        found = _with_screen(bench, name, presented, bias, scan) or found
    return found


def _best(
    bench: Bench, name: str, presented: float | None, bias: str, scan: list[float]
) -> tuple[float, tuple[str, ...]] | None:
    """Return the cathode resistor that gives most watts of those inside every rating, or that comes
    nearest, and what is over then.
    """
    work = next(
        (
            one
            for one in bench.work(bench.solve(ohms={bias: scan}))
            if one.part == name and one.screen_volts is not None
        ),
        None,
    )
    law = bench.device(name, work.unit).law if work is not None else None
    if not isinstance(law, Pentode):
        return None
    far = [
        max(
            [
                1.0,
                *(
                    float(values[k]) / limit
                    for _, values, _, limit in work.loads
                    if limit is not None
                ),
            ]
        )
        for k in range(len(scan))
    ]
    near = [k for k in range(len(scan)) if far[k] <= min(far) * 1.001]

    def watts(k: int) -> float:
        return _stage_watts(
            law,
            tuple(
                float(value[k]) for value in (work.plate_volts, work.screen_volts, work.grid_volts)
            ),
            presented,
        )

    old = bench.circuit.by_name[bias].value("resistance")
    if presented is None:
        chosen = min(near, key=lambda k: max(scan[k] / old, old / scan[k]))
    else:
        chosen = (
            near[0] if len(near) == 1 else max(near, key=lambda k: (round(watts(k), 3), scan[k]))
        )
    return scan[chosen], tuple(
        what
        for what, values, _, limit in work.loads
        if limit is not None and values[chosen] > limit
    )


def _with_screen(
    bench: Bench, name: str, presented: float | None, bias: Part, scan: list[float]
) -> tuple[Fitted, ...]:
    """Return a screen resistor with a cathode resistor that keep the screen inside its ratings, or
    nothing.
    """
    for ohms in (
        100.0,
        220.0,
        470.0,
        1000.0,
        1500.0,
        2200.0,
        3300.0,
        4700.0,
        6800.0,
        10000.0,
        15000.0,
        22000.0,
    ):
        trial = Fitted(f"screen of {name}", None, ohms, None, "E12")
        own = Bench(with_resistors(bench.circuit, name, (trial,)), bench.feed, bench.volts)
        best = _best(own, name, presented, bias.name, scan)
        if best is not None and not any(what.startswith("screen") for what in best[1]):
            own = Bench(
                with_resistors(own.circuit, name, (_fitted(own, bias, best[0]),)),
                bench.feed,
                bench.volts,
            )
            amps = next(
                one
                for one in own.work(own.point[None])
                if one.part == name and one.screen_amps is not None
            ).screen_amps[0]
            screen = replace(trial, watts=rating(float(amps) ** 2 * ohms / RESISTOR_SHARE, WATTS))
            return (
                *(() if best[0] == bias.value("resistance") else (_fitted(own, bias, best[0]),)),
                screen,
            )
    return ()


def _fitted(bench: Bench, bias: Part, ohms: float) -> Fitted:
    volts = float(bench.across(bench.solve(ohms={bias.name: [ohms]}), bias.name)[0])
    made = rating(volts * volts / ohms / RESISTOR_SHARE, WATTS)
    return Fitted(
        bias.name,
        bias.value("resistance"),
        ohms,
        made,
        "E12" if nearest(ohms, E12) == ohms else "E24",
    )


def _bias_resistor(circuit: Circuit, facts: Facts, name: str) -> Part | None:
    """Return the resistor that makes an output tube's bias: between its cathode and the common, or
    the one from there to B- with back bias.
    """
    stage = next((one for one in facts.back_biased if one.tube == name), None)
    part = circuit.by_name[name]
    tube = library.find(part.type)
    if stage is not None:
        cathodes, others = {stage.cathode}, stage.returns
    else:
        unit = next((f"{unit}." for unit in tube.units if tube.pins_of(f"{unit}.screen")), "")
        cathodes, others = (
            {
                facts.point(node)
                for pin in tube.pins_of(f"{unit}cathode")
                if (node := part.node(pin))
            },
            facts.common,
        )
    found = [
        other
        for other in circuit.parts
        if other.kind == "resistor"
        and len(other.pins) == 2
        and other.value("resistance")
        and {facts.point(node) for _, node in other.pins} & cathodes
        and {facts.point(node) for _, node in other.pins} & set(others)
    ]
    return found[0] if len(found) == 1 else None


def with_resistors(circuit: Circuit, name: str, fit: tuple[Fitted, ...]) -> Circuit:
    """Return the circuit with resistors exchanged or fitted; one before a screen comes with a
    capacitor from there to the cathode.
    """
    for one in fit:
        if one.old_ohms is not None:
            old = circuit.by_name[one.part]
            values = tuple(v for v in old.values if v.dimension not in ("resistance", "power"))
            watts = (Value("power", one.watts),) if one.watts else ()
            circuit = apply_edit(
                circuit,
                SetValue(one.part, (Value("resistance", one.ohms), *watts, *values), old.words),
            )
        else:
            tube = circuit.by_name[name]
            known = library.find(tube.type)
            screens = [
                pin
                for pin, _ in tube.pins
                if any(element.rpartition(".")[2] == "screen" for element in known.elements_of(pin))
            ]
            cathode = next(
                node
                for pin, node in tube.pins
                if any(
                    element in ("cathode", "pentode.cathode") for element in known.elements_of(pin)
                )
            )
            node, fresh = tube.node(screens[0]), circuit.free_node_name(f"{name}-SCREEN")
            moved = tuple((pin, fresh if pin in screens else on) for pin, on in tube.pins)
            circuit = circuit.with_parts(
                tuple(
                    replace(part, pins=moved) if part.name == name else part
                    for part in circuit.parts
                )
            )
            circuit = apply_edit(
                circuit,
                FitPart(
                    Part(
                        circuit.free_part_name("R"),
                        "resistor",
                        values=(Value("resistance", one.ohms),),
                        pins=(("1", node), ("2", fresh)),
                    )
                ),
            )
            circuit = apply_edit(
                circuit,
                FitPart(
                    Part(
                        circuit.free_part_name("C"),
                        "electrolytic",
                        values=(Value("capacitance", 10e-6),),
                        pins=(("plus", fresh), ("minus", cathode)),
                    )
                ),
            )
    return circuit
