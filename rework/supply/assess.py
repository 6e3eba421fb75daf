"""What one option comes to, read off its circuit and its edits: ties, touch, watts, hum, heat,
parts, holes, money. Nothing here is typed in.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from rework.circuit.circuit import Circuit
from rework.circuit.edits import CutConductor, Edit, ExchangeTube, LiftPin, RunWire
from rework.circuit.parts import Part
from rework.rules.facts import Facts
from rework.safety.check import check
from rework.solve.assemble import assemble
from rework.solve.chart import HIGH_LINE
from rework.solve.linear import linearised
from rework.solve.network import CannotSolve, Network
from rework.solve.periodic import mains_steady
from rework.solve.signal import Loudest, loudest
from rework.solve.stability import MOTORBOATING, modes
from rework.supply.bench import COLD_CAPACITOR, Bench, Limit, ratings
from rework.supply.feed import Feed
from rework.supply.shelf import Item, Shelf
from rework.touch.faults import faults
from rework.touch.touch import touch
from rework.tubes import library

#: Kinds that want a hole or a mounting in the chassis they are fitted to (common practice, no
#: source); a cord takes the old one's.
HOLED = frozenset({"transformer", "choke", "fuse", "switch", "connector", "jack", "socket"})
#: Volts peak below which a node is no shock whatever its current (IEC 60065, hazardous live test;
#: see touch/limits.toml).
_FELT = 35.0
#: What may become of a fault, the worst last.
_ENDED = ("under", "cleared", "breaker", "not known", "over")
#: Kinds that are no parts to keep or to buy.
_BARE = frozenset({"chassis", "earth", "socket"})
#: Instants of a line period in which the capacitors of a cold set are looked at.
INSTANTS = 96
#: Price is looked up for a capacitor or resistor no further off in value than this (common
#: practice, no source).
NEAR_VALUE = 0.2


@dataclass(frozen=True, slots=True, eq=False)
class Option:
    """One way to go: its circuit with the edits that made it, or ``why`` there is none.

    ``rail`` and ``back`` are the nodes between which the amplifier has its B+; ``supply`` leads the
    names of what stands on a chassis of its own, "" where all is in the old one. ``notes`` is what
    was assumed.
    """

    kind: str
    title: str
    circuit: Circuit | None = None
    edits: tuple[Edit, ...] = ()
    rail: str = ""
    back: str = ""
    supply: str = ""
    isolator: str = ""
    why: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Bought:
    """A part to buy, and its price on the stock list (None: not on it)."""

    name: str
    what: str
    price: float | None


@dataclass(frozen=True, slots=True)
class Load:
    """A line transformer: volt-amperes drawn through its primary, its rating (None: not said), mean
    amps in a secondary and the amps that magnetise it.
    """

    name: str
    volt_amps: float
    rated: float | None
    direct_amps: float
    magnetising_amps: float


@dataclass(frozen=True, slots=True, eq=False)
class Findings:
    """The rows of one option, SI; None is not computed, and ``missing`` says why by the name of the
    row.

    ``reach`` of the ``hazards`` are in reach of a hand, ``mend`` what the check wants mended.
    ``touch`` and ``fault`` are the worst readings of a measuring network, in every state and under
    every single fault of the set (first those that no fuse ends; an outlet that is wired wrong is
    none of the set's; ``fault_direct`` is a direct current through the body); ``unknown`` are the
    values that were missing for them. ``heat`` is drawn from the line, ``heat_old`` the part of it
    in the old cabinet. ``over`` is what is over its rating at that B+, ``assumed`` what the solver
    took for granted of the isolating transformer.
    """

    option: Option
    verdict: str = ""
    hazards: int | None = None
    reach: int | None = None
    mend: tuple[str, ...] = ()
    mind: tuple[str, ...] = ()
    touch: float | None = None
    touch_volts: float | None = None
    touch_where: str = ""
    touch_over: bool = False
    fault: float | None = None
    fault_what: str = ""
    fault_direct: bool = False
    fault_over: bool = False
    fault_verdict: str = ""
    unknown: tuple[str, ...] = ()
    bplus: float | None = None
    watts: float | None = None
    hum: float | None = None
    hum_below: float | None = None
    damping: float | None = None
    swings_at: float | None = None
    grows: tuple[tuple[float, str], ...] = ()
    loads: tuple[Load, ...] = ()
    heat: float | None = None
    heat_old: float | None = None
    string_volts: float | None = None
    balanced: bool | None = None
    over: tuple[Limit, ...] = ()
    bought: tuple[Bought, ...] = ()
    holes: tuple[str, ...] = ()
    pins: int = 0
    wires: int = 0
    cut: tuple[str, ...] = ()
    out: tuple[str, ...] = ()
    kept: int = 0
    of: int = 0
    assumed: tuple[str, ...] = ()
    missing: Mapping[str, str] = field(default_factory=dict)

    @property
    def price(self) -> float:
        """The sum of what is on the list."""
        return round(sum(one.price for one in self.bought if one.price is not None), 2)

    @property
    def unpriced(self) -> tuple[str, ...]:
        """What is not on the list."""
        return tuple(f"{one.name} {one.what}" for one in self.bought if one.price is None)

    @property
    def reversible(self) -> str:
        """Whether it can be undone, in words."""
        if not self.option.edits:
            return "nothing was done"
        stays = [
            f"{len(names)} {word}{'s' if len(names) > 1 else ''}{more}"
            for names, word, more in ((self.cut, "trace", " cut"), (self.holes, "hole", ""))
            if names
        ]
        return "yes" if not stays else "but for " + " and ".join(stays)


def assess(
    option: Option,
    before: Circuit,
    shelf: Shelf | None,
    *,
    stops: Mapping[str, float] | None = None,
    step: Callable[[int], None] | None = None,
) -> tuple[Findings, Mapping[str, float] | None]:
    """Return the findings of an option and the loudest position of its controls, so that the next
    need not look for them.
    """
    done = step or (lambda count: None)
    if option.circuit is None:
        done(STEPS)
        return Findings(option), stops
    found: dict = {}
    missing: dict[str, str] = {}
    found |= _safe(option.circuit)
    done(1)
    try:
        one = loudest(option.circuit, stops=stops)
        stops = one.stops
        found |= _heard(option, one)
    except CannotSolve as error:
        missing |= dict.fromkeys(
            ("bplus", "watts", "hum", "damping", "loads", "heat"),
            "; ".join(problem.message for problem in error.problems),
        )
    done(1)
    if found.get("bplus"):
        try:
            found["over"] = _over(option, found["bplus"], one)
        except CannotSolve as error:
            missing["over"] = str(error)
    found |= _done(option, before, shelf)
    done(1)
    return Findings(option, **found, missing=missing), stops


#: How often ``assess`` calls its ``step``.
STEPS = 3


def _safe(circuit: Circuit) -> dict:
    """Return the rows of the mains check, of touch and of faults."""
    report = check(circuit)
    hand, single = touch(circuit), faults(circuit)
    found = {
        "verdict": report.verdict,
        "hazards": len(report.hazards),
        "reach": sum(one.touchable for one in report.hazards),
        "mend": tuple(one.message for one in report.cautions if one.weight == "must"),
        "mind": tuple(one.message for one in report.cautions if one.weight != "must"),
    }
    worst = max(
        hand.touches,
        key=lambda one: (one.verdict != "under", one.volts * 2**0.5 > _FELT, one.reading),
        default=None,
    )
    if worst is not None:
        found |= {
            "touch": worst.reading,
            "touch_volts": worst.volts,
            "touch_where": f"{worst.node} to {worst.other or 'earth'}, {worst.state}",
            "touch_over": any(one.verdict == "over" for one in hand.touches),
        }
    own = [one for one in single.outcomes if one.fault.kind != "outlet"]
    worst = max(
        own,
        key=lambda one: (_ENDED.index(one.verdict), max(one.reading, one.dc_amps * one.dc_is_over)),
        default=None,
    )
    if worst is not None:
        direct = worst.dc_is_over and worst.dc_amps > worst.reading
        found |= {
            "fault": worst.dc_amps if direct else worst.reading,
            "fault_what": worst.fault.what,
            "fault_direct": direct,
            "fault_over": worst.verdict == "over",
            "fault_verdict": worst.verdict,
        }
    return found | {"unknown": tuple(dict.fromkeys((*hand.unknown, *single.unknown)))}


def _heard(option: Option, one: Loudest) -> dict:
    """Return the rows that come of solving the circuit: B+, watts, hum, stability, transformers,
    heat.
    """
    network, steady = one.found.network, one.found.steady
    ends = [
        network.volts(steady.x, node).mean() if node in network.node_of else 0.0
        for node in (option.rail, option.back)
    ]
    least = next(
        (mode for mode in modes(linearised(one.found)) if 0 < mode.hertz < MOTORBOATING), None
    )
    heat, own = steady.watts_in, _losses(option, one)
    return {
        "bplus": float(ends[0] - ends[1]),
        "watts": one.full.watts,
        "hum": one.hum.volts,
        "hum_below": one.hum.below_full_db,
        "damping": least.damping if least else 1.0,
        "swings_at": least.hertz if least else None,
        "grows": tuple((mode.hertz, mode.node) for mode in one.grows),
        "loads": tuple(_loads(option.circuit, one)),
        "heat": heat,
        "heat_old": heat - own,
        **_string(option, one),
        "assumed": tuple(
            note
            for note in network.notes
            if option.isolator and note.startswith(f"{option.isolator} ")
        ),
    }


def _loads(circuit: Circuit, one: Loudest):
    network, x = one.found.network, one.found.steady.x
    for part in circuit.parts:
        rows = (
            {
                name.partition(".")[2]: row
                for name, row in network.rows.items()
                if name.partition(".")[0] == part.name
            }
            if part.kind in ("transformer", "autotransformer")
            else {}
        )
        primary = next((name for name in rows if name.startswith("primary")), None)
        if primary is not None:
            start, finish = (
                part.node(f"{primary.split('.')[0]}.{end}") for end in ("start", "finish")
            )
            volts = network.volts(x, start) - network.volts(x, finish)
            direct = max(
                (
                    abs(float(x[:, row].mean()))
                    for name, row in rows.items()
                    if name != "core" and not name.startswith("primary") and "." not in name
                ),
                default=0.0,
            )
            yield Load(
                part.name,
                _rms(x[:, rows[primary]]) * _rms(volts),
                part.value("apparent-power"),
                direct,
                _magnetising(network, one, part, rows),
            )


def _magnetising(network, one: Loudest, part: Part, rows: Mapping[str, int]) -> float:
    """Return the RMS amps that magnetise a core, as its primary would draw them alone: the sum of
    all windings by their turns.
    """
    core = rows.get("core")
    if core is None:
        return 0.0
    henries = network.fixed_c[core, rows[next(name for name in rows if name.startswith("primary"))]]
    flow = (
        sum(
            network.fixed_c[core, row] * one.found.steady.x[:, row]
            for name, row in rows.items()
            if name != "core"
        )
        / henries
    )
    return _rms(flow - flow.mean())


def _rms(wave) -> float:
    return float((wave**2).mean() ** 0.5)


def _losses(option: Option, one: Loudest) -> float:
    """Return the watts turned to heat in what stands on a chassis of its own."""
    if not option.supply:
        return 0.0
    network, steady, watts = one.found.network, one.found.steady, 0.0
    lead = f"{option.supply}/"
    across = steady.x @ network.ohmic_at.T
    watts += sum(
        float((across[:, k] ** 2).mean()) / branch.value
        for k, branch in enumerate(network.ohmic)
        if branch.name.startswith(lead)
    )
    watts += sum(
        -float(network.fixed_g[row, row]) * float((steady.x[:, row] ** 2).mean())
        for name, row in network.rows.items()
        if name.startswith(lead) and not name.endswith(".core")
    )
    volts, row = steady.x @ network.reads.T, 0
    for device in network.ordered:
        at, row = row, row + len(device.from_)
        if device.name.startswith(lead):
            watts += float((volts[:, at:row] * steady.currents[:, at:row]).sum(-1).mean())
    return watts


def _string(option: Option, one: Loudest) -> dict:
    """Return the highest volts RMS of a heater against the amplifier's return, and whether each
    heater's two ends are at the same volts about it.
    """
    network, x = one.found.network, one.found.steady.x
    facts = Facts(option.circuit)
    heaters = facts.heaters
    back = network.volts(x, option.back) if option.back in network.node_of else 0.0
    highest, even = 0.0, True
    for part in option.circuit.parts:
        tube = library.find(part.type) if part.kind == "tube" else None
        if (
            tube is None
            or tube.is_rectifier
            or (option.supply and part.name.startswith(f"{option.supply}/"))
        ):
            continue
        ends = [
            _rms(wave - wave.mean())
            for pin in tube.pins_of("heater")
            if (node := part.node(pin)) and node in network.node_of
            for wave in [network.volts(x, node) - back]
        ]
        if ends:
            highest, even = max(highest, *ends), even and max(ends) <= 1.2 * min(ends) + 0.05
    return {"string_volts": highest, "balanced": even and not heaters.parts}


def _over(option: Option, volts: float, one: Loudest) -> tuple[Limit, ...]:
    """Return what of the amplifier is over its rating at that B+, the amplifier taken by itself."""
    lead = f"{option.supply}/" if option.supply else ""
    parts = tuple(
        part for part in option.circuit.parts if not (lead and part.name.startswith(lead))
    )
    rectifiers = tuple(
        part.name
        for part in parts
        if (part.kind in ("bridge", "diode", "selenium") and "germanium" not in part.words)
        or (part.kind == "tube" and (tube := library.find(part.type)) and tube.is_rectifier)
    )
    alone = option.circuit.with_parts(tuple(part for part in parts if part.name != option.isolator))
    back = (
        option.back
        if option.back in option.circuit.at
        else next(iter(sorted(Facts(option.circuit).common)), option.back)
    )
    if not any(part.kind == "plug" for part in alone.parts):
        alone = alone.with_parts(
            (
                Part(
                    "P1",
                    "plug",
                    words=("two-blade",),
                    pins=(("line", option.rail), ("neutral", back)),
                ),
                *alone.parts,
            )
        )
    found = ratings(Bench(alone, Feed(option.rail, back, rectifiers), volts)).over
    cold = _cold(option.circuit, one)
    return (
        found
        if cold is None
        else (*(limit for limit in found if limit.what != COLD_CAPACITOR), *cold)
    )


def _steady(network: Network, start):
    """Return the steady state on the high line, from the warm one where that leads there."""
    try:
        return mains_steady(network, factor=HIGH_LINE, instants=INSTANTS, start=start).x
    except CannotSolve:
        if start is None:
            raise
        return mains_steady(network, factor=HIGH_LINE, instants=INSTANTS).x


def _cold(circuit: Circuit, one: Loudest) -> tuple[Limit, ...] | None:
    """Return the capacitors over their rating on the high line while the tubes are cold, on the
    supply as it is; None where that has no numbers.
    """
    try:
        network = assemble(circuit, emission=False)
        x = _steady(
            network,
            (
                HIGH_LINE * one.found.steady.x[:: len(one.found.steady.x) // INSTANTS]
                if network.names == one.found.network.names
                else None
            ),
        )
    except CannotSolve:
        return None
    found = []
    for part in circuit.parts:
        if (
            part.kind in ("capacitor", "electrolytic")
            and (rated := part.value("voltage")) is not None
        ):
            peak = float(
                abs(network.volts(x, part.pins[0][1]) - network.volts(x, part.pins[-1][1])).max()
            )
            if peak > rated:
                found.append(Limit(part.name, COLD_CAPACITOR, peak, rated, "V", None))
    return tuple(found)


# work and money


def _done(option: Option, before: Circuit, shelf: Shelf | None) -> dict:
    after = option.circuit
    old, new = before.by_name, after.by_name
    fresh = [part for part in after.parts if part.name not in old or _other(old[part.name], part)]
    bought = tuple(
        Bought(part.name, words(part), price_of(part, shelf))
        for part in fresh
        if part.kind not in _BARE and not part.is_conductor
    )
    lead = f"{option.supply}/" if option.supply else ""
    holes = tuple(
        part.name
        for part in fresh
        if part.kind in HOLED - {"socket"}
        and part.name not in old
        and not (lead and part.name.startswith(lead))
    )
    pins, wires, cut = 0, 0, []
    for edit in option.edits:
        match edit.action:
            case LiftPin(name) if name in old:
                pins += 1
            case ExchangeTube(moves=moves):
                pins += sum(len(one[1]) for one in moves)
            case RunWire():
                wires += 1
            case CutConductor(name) if name in old and old[name].kind == "trace":
                cut.append(name)
            case _:
                pass
    counted = [part for part in before.parts if part.kind not in _BARE and not part.is_conductor]
    kept = [part for part in counted if part.name in new and not _other(part, new[part.name])]
    out = tuple(part.name for part in counted if part.name not in new)
    return {
        "bought": bought,
        "holes": holes,
        "pins": pins,
        "wires": wires,
        "cut": tuple(cut),
        "out": out,
        "kept": len(kept),
        "of": len(counted),
    }


def _other(one: Part, two: Part) -> bool:
    return (one.kind, one.type, one.values, one.windings) != (
        two.kind,
        two.type,
        two.values,
        two.windings,
    )


def words(part: Part) -> str:
    """Return a part as one buys it: kind, type and values."""
    from rework.language.quantity import write_value

    return " ".join(
        word
        for word in (part.kind, part.type, *(write_value(value) for value in part.values))
        if word
    )


def price_of(part: Part, shelf: Shelf | None) -> float | None:
    """Return the price of a part on the stock list: by its name there, else the cheapest that
    serves; None where there is none.
    """
    if shelf is None:
        return None
    named = [
        item
        for item in shelf.items
        if item.name
        and (
            item.name in part.remark
            or (
                part.kind == "tube"
                and library.find(item.name) is library.find(part.type) is not None
            )
            or (part.kind == item.kind == "transformer" and _wound_alike(item, part))
        )
    ]
    serving = (
        named or [item for item in shelf.of(part.kind) if _serves(item, part)]
        if part.kind in shelf.by_kind or named
        else []
    )
    prices = [item.price for item in serving if item.price is not None]
    return min(prices, default=None)


def _wound_alike(item: Item, part: Part) -> bool:
    """Return whether a transformer of the list has the windings and the volt-amperes that the
    circuit writes down.
    """
    written = {
        name: next((value.amount for value in values if value.dimension == "voltage"), None)
        for name, values in part.windings
    }
    return item.va == part.value("apparent-power") and written == {
        winding.name: winding.volts for winding in item.windings
    }


def _serves(item: Item, part: Part) -> bool:
    wanted = {
        "electrolytic": "capacitance",
        "resistor": "resistance",
        "pot": "resistance",
        "choke": "inductance",
    }.get(part.kind)
    if wanted is not None:
        amount = part.value(wanted)
        if amount is None or item.value is None or abs(item.value / amount - 1) > NEAR_VALUE:
            return False
    elif part.kind in ("transformer", "tube", "thermistor"):
        return False
    pairs = (("voltage", item.volts), ("power", item.watts), ("current", item.amps))
    return all(
        had is None or (need := part.value(dimension)) is None or had >= need * (1 - 1e-9)
        for dimension, had in pairs
    )
