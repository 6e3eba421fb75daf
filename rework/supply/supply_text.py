"""A supply written as a circuit in our own language: fuse first, three-pin plug, switch, earth,
umbilical.
"""

from __future__ import annotations

from collections.abc import Iterator

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.parts import Value
from rework.circuit.preferred import E6, nearest
from rework.language.quantity import write_value
from rework.language.resolve import read_circuit
from rework.language.writer import tidy
from rework.supply.amplifier import NODES, PORTS, UMBILICAL
from rework.supply.forms import BALANCE_OHMS, BALANCES, ELEVATED, ELEVATED_OHMS, Choice, low_winding
from rework.supply.stock import (
    StockCapacitor,
    StockItem,
    StockSilicon,
    StockTransformer,
    StockTube,
    StockWinding,
)
from rework.tubes import library


def supply_text(
    choice: Choice,
    mains: Mains,
    ports: tuple[str, ...],
    *,
    bonded: bool,
    title: str,
    remarks: tuple[str, ...] = (),
    bplus: float = 250.0,
) -> str:
    """Return the text of a supply, tidied.

    ``bonded`` joins B- to the chassis here; ``bplus`` is only looked at to elevate heaters.
    """
    lines = [
        *(f"# {remark}" for remark in remarks),
        "",
        f'circuit "{title}"',
        f"mains {mains.volts:g} V {mains.hertz:g} Hz",
        "touchable CHASSIS",
        "",
        *_line_side(choice, mains, ports),
        "",
        "# B+",
        *_rectifier(choice),
        *_filter(choice),
    ]
    if bonded:
        lines.append(
            'W2 wire black 18 AWG : COMMON -- CHASSIS "the one place where B- meets the chassis"'
        )
    lines += ["", *_balance(choice, bplus), "", *_umbilical(choice, ports)]
    text, problems = tidy("\n".join(lines) + "\n", "supply.circuit")
    if text is None:
        raise AssertionError(problems)
    return text


def _umbilical(choice: Choice, ports: tuple[str, ...]) -> Iterator[str]:
    yield "# umbilical: the socket carries the volts, so that the pulled plug has none"
    yield "CH1 chassis : CHASSIS"
    rated = choice.connector
    says = f"{rated.volts:g} V {rated.amps:g} A" if rated else ""
    yield f"X1 connector socket {says} : 1=BP, 2=COMMON, 3=H1, 4=H2, 5=CHASSIS{_from(rated)}"
    yield f"X2 connector plug {says} mates X1 : 1=UB, 2=UC, 3=UH1, 4=UH2, 5=UE"
    umbilical = [port for port in UMBILICAL if port in ports]
    yield "port " + ", ".join(f"{port} = {NODES[port]}" for port in umbilical)


def supply_circuit(text: str, *, file: str = "") -> Circuit:
    """Return the circuit of a supply's text.

    Raises ValueError where it does not read, which only a strange name on the list could cause.
    """
    circuit, problems = read_circuit(text, file=file)
    if circuit is None:
        raise ValueError("; ".join(problem.message for problem in problems))
    return circuit


def _v(dimension: str, amount: float) -> str:
    return write_value(Value(dimension, float(f"{amount:.6g}")))


def _from(item: StockItem | None, more: str = "") -> str:
    """Return the remark that names an item of the list, quotes taken out."""
    name = (item.name if item else "").replace('"', "'")
    remark = "; ".join(text for text in (name, more) if text)
    return f'  "{remark}"' if remark else ""


def _line_side(choice: Choice, mains: Mains, ports: tuple[str, ...]) -> Iterator[str]:
    small = mains.volts <= 127
    yield "# the line: fuse first, then the switch, then the primary"
    yield f"P1 plug three-pin 10 A {125 if small else 250} V : line=LINE1, neutral=N1, earth=PE"
    gauge = "18 AWG" if small else "1 mm2"
    yield f'W1 wire green-yellow {gauge} : PE -- CHASSIS "own screw, longest of the three"'
    fuse = choice.fuse
    rated = f"{_v('current', fuse.amps)} {fuse.volts:g} V {fuse.speed}"
    yield f"F1 fuse {rated} : LINE1 -- LINE2{_from(fuse)}"
    if "switch1" in ports:
        yield "port switch1 = LINE2, switch2 = LINE3"
    else:
        switch = choice.switch
        amps, volts = (switch.amps, switch.volts) if switch else (3.0, 125.0 if small else 250.0)
        yield f"S1 switch SPST {_v('current', amps)} {volts:g} V : LINE2 -- LINE3{_from(switch)}"
    motors = [port for port in PORTS if port.startswith("motor") and port in ports]
    if motors:
        yield "port " + ", ".join(f"{port} = {NODES[port]}" for port in motors)
    feed = "LINE3"
    soft = choice.soft_start
    if soft is not None:
        feed = "LINE4"
        cold, hot = _v("resistance", soft.cold_ohms), _v("resistance", soft.hot_ohms)
        yield (
            f"TH1 thermistor NTC cold {cold} hot {hot} {_v('current', soft.amps)} :"
            f" LINE3 -- LINE4{_from(soft)}"
        )
    yield from _transformers(choice, feed)


def _wound(winding: StockWinding, nodes: str, *, name: str = "") -> str:
    amps = f" {_v('current', winding.amps)}" if winding.amps else ""
    return f"{name or winding.name} {winding.volts:g} V{amps} dcr {winding.ohms:g} ohm = {nodes}"


def _hv_nodes(choice: Choice) -> str:
    """Return the nodes along the winding for B+."""
    if choice.rectifier in ("tube", "silicon"):
        return "HV1 -- COMMON -- HV2"
    return "HV1 -- COMMON" if choice.rectifier == "half-wave" else "HV1 -- HV2"


def _transformers(choice: Choice, feed: str) -> Iterator[str]:
    transformer = choice.transformer
    heater = "H1 -- COMMON -- H2" if choice.balance == "tap" else "H1 -- H2"
    nodes = {choice.rectifier_winding: f"RH -- {_nodes(choice)[0]}"}
    if not choice.second:
        nodes[choice.winding] = _hv_nodes(choice)
    if not choice.filament:
        nodes[choice.heater_winding] = heater
    runs = [_wound(transformer.primary, f"{feed} -- N1")]
    runs += [
        _wound(each, nodes[each.name]) for each in transformer.secondaries if each.name in nodes
    ]
    idle = [each.name for each in transformer.secondaries if each.name not in nodes]
    remarks = [f"not used, every lead insulated: {', '.join(idle)}"] if idle else []
    whole = choice.rectifier not in ("tube", "silicon") and not choice.second
    if whole and choice.hv().tapped:
        remarks.append(f"tap of {choice.winding} not used, insulated")
    yield _transformer("T1", transformer, runs, "; ".join(remarks))
    if choice.second is not None:
        low = _wound(low_winding(choice.second), "H1 -- H2", name="primary")
        high = _wound(choice.second.primary, "HV1 -- HV2", name="hv")
        remarks = ["the wrong way round: its line winding gives B+"]
        yield _transformer("T2", choice.second, [low, high], remarks[0])
    if choice.filament is not None:
        runs = [_wound(choice.filament.primary, f"{feed} -- N1"), _wound(choice.heater, heater)]
        yield _transformer("T2", choice.filament, runs, "for the heaters")


def _transformer(name: str, item: StockTransformer, runs: list[str], remark: str) -> str:
    screen = ["screen=CHASSIS"] if item.screen else []
    windings = ", ".join([*runs, *screen, "core=CHASSIS"])
    return f"{name} transformer {item.va:g} VA : {windings}{_from(item, remark)}"


def _nodes(choice: Choice) -> tuple[str, str, str]:
    """Return the rectifier's own end, the first capacitor's node, and the last: fewer nodes where a
    part between them is left out.
    """
    out = "BO" if choice.bplus_fuse else "BP"
    first = out if choice.filter == "C" else "BR"
    return ("BS" if choice.surge is not None else first, first, out)


def _rectifier(choice: Choice) -> Iterator[str]:
    item = choice.valve
    out, first, _ = _nodes(choice)
    if isinstance(item, StockTube):
        yield _tube(choice, item, out)
    else:
        yield from _silicon(choice.rectifier, item, out)
    surge = choice.surge
    if surge is not None:
        yield (
            f"R9 resistor {_v('resistance', surge.ohms)} {surge.watts:g} W wirewound surge 5% :"
            f" {out} -- {first}{_from(surge)}"
        )


def _silicon(rectifier: str, item: StockSilicon, out: str) -> Iterator[str]:
    rated = f"silicon {_v('current', item.amps)} {item.volts:g} V"
    if rectifier == "bridge":
        yield f"D1 bridge {rated} : ac1=HV1, ac2=HV2, plus={out}, minus=COMMON{_from(item)}"
        return
    yield f"D1 diode {rated} : HV1 -- {out}{_from(item)}"
    if rectifier == "silicon":
        yield f"D2 diode {rated} : HV2 -- {out}{_from(item)}"


def _tube(choice: Choice, item: StockTube, out: str) -> str:
    """Return the line of a rectifier tube, its cathode on ``out``; a winding of its own is tied to
    its cathode.
    """
    tube = library.find(item.name)
    if tube is None:
        raise ValueError(f"{item.name} is not in the tube library")
    pins: dict[str, str] = {}
    for element, node in (("plate1", "HV1"), ("plate2", "HV2"), ("cathode", out)):
        pins |= dict.fromkeys(tube.pins_of(element), node)
    separate = choice.rectifier_winding not in ("", choice.heater_winding)
    for end, node in (
        ("heater1", "RH" if separate else "H1"),
        ("heater2", out if separate else "H2"),
    ):
        for pin in tube.pins_of(end):
            pins.setdefault(pin, node)
    spare = [
        pin
        for pin in tube.socket_pins
        if pin not in pins and not {"absent", "none", "internal"} & {*tube.elements_of(pin)}
    ]
    bound = ", ".join(
        f"{pin}={node}"
        for pin, node in sorted(pins.items(), key=lambda pair: (len(pair[0]), pair[0]))
    )
    return f"V1 tube {tube.type} : {bound}" + (f", unused {' '.join(spare)}" if spare else "")


def _filter(choice: Choice) -> Iterator[str]:
    _, first, out = _nodes(choice)

    if choice.c1 is not None:
        yield _capacitor("C1", choice.c1, first)
    choke, series, bleeder, fuse = choice.choke, choice.series, choice.bleeder, choice.bplus_fuse
    if choke is not None:
        yield (
            f"L1 choke {_v('inductance', choke.henries)} {_v('current', choke.amps)}"
            f" {_v('resistance', choke.ohms)} : {first} -- {out}{_from(choke)}"
        )
    if series is not None:
        yield (
            f"R8 resistor {_v('resistance', series.ohms)} {series.watts:g} W wirewound 5% :"
            f" {first} -- {out}{_from(series)}"
        )
    if choice.c2 is not None:
        yield _capacitor("C2" if choice.c1 else "C1", choice.c2, out)
    if bleeder is not None:
        rated = f" {bleeder.volts:g} V" if bleeder.volts else ""
        yield (
            f"R1 resistor {_v('resistance', bleeder.ohms)} {bleeder.watts:g} W bleeder 5%{rated} :"
            f" {out} -- COMMON{_from(bleeder)}"
        )
    if fuse is not None:
        remark = _from(fuse, "rated for direct current of these volts, or left out")
        amps = _v("current", fuse.amps)
        yield f"F2 fuse {amps} {fuse.volts:g} V {fuse.speed} : BO -- BP{remark}"


def _capacitor(name: str, item: StockCapacitor, node: str) -> str:
    rated = f"{_v('capacitance', item.farads)} {item.volts:g} V"
    return f"{name} electrolytic {rated} : {node} -- COMMON{_from(item)}"


def _balance(choice: Choice, bplus: float) -> Iterator[str]:
    yield f"# heaters, balanced to common: {BALANCES[choice.balance]}"
    match choice.balance:
        case "pot":
            pot = choice.pot
            rated = (
                f"{_v('resistance', pot.ohms)} {pot.watts:g} W"
                if pot
                else f"{BALANCE_OHMS:g} ohm 2 W"
            )
            yield (
                f"R2 pot {rated} linear plastic-shaft : ccw=H1, wiper=COMMON,"
                f" cw=H2{_from(pot, 'hum balance')}"
            )
        case "resistors" | "elevated":
            to = "HC" if choice.balance == "elevated" else "COMMON"
            for name, node in (("R2", "H1"), ("R3", "H2")):
                yield f"{name} resistor {BALANCE_OHMS:g} ohm 1/2 W 5% : {node} -- {to}"
            if to == "HC":
                top = nearest(ELEVATED_OHMS * max(bplus / ELEVATED - 1, 0.1))
                yield (
                    f"R4 resistor {_v('resistance', top)} 1 W 10% : {_nodes(choice)[2]} -- HC"
                    f' "holds the heaters some {ELEVATED:g} V above common"'
                )
                yield f"R5 resistor {_v('resistance', ELEVATED_OHMS)} 1/2 W 10% : HC -- COMMON"
                yield (
                    f"C9 electrolytic {_v('capacitance', nearest(22e-6, E6))} 100 V : HC -- COMMON"
                )
