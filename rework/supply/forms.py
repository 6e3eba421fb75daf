"""The forms a supply may take, each a generator of a circuit in our own language: fuse first,
three-pin plug, switch, earth, umbilical.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.parts import Value
from rework.language.quantity import write_value
from rework.language.resolve import read_circuit
from rework.language.writer import tidy
from rework.supply.amplifier import NODES, PORTS
from rework.supply.preferred import E6, nearest
from rework.supply.shelf import Item, Winding
from rework.tubes import library

#: Rectifiers, and what is behind them. A choke comes first only behind a full-wave rectifier.
RECTIFIERS = {
    "tube": "full-wave tube on a tapped winding",
    "silicon": "full-wave silicon on a tapped winding",
    "bridge": "silicon bridge",
    "half-wave": "one silicon diode",
}
FILTERS = {
    "C": "one capacitor",
    "C-L-C": "capacitor, choke, capacitor",
    "C-R-C": "capacitor, resistor, capacitor",
    "L-C": "choke input, capacitor",
}
#: How the heaters are balanced to common against hum.
BALANCES = {
    "tap": "middle tap of the winding",
    "resistors": "two resistors",
    "pot": "a pot, set by ear",
    "elevated": "two resistors, held some 40 V above common",
}
#: Ohms of each balance resistor and of the balance pot, volts of an elevated heater (common
#: practice, no source).
BALANCE_OHMS, ELEVATED, ELEVATED_OHMS = 100.0, 40.0, 47e3


@dataclass(frozen=True)
class Choice:
    """One supply: which parts in which form.

    ``second`` is the reversed transformer of two back to back.

    ``winding`` names the winding for B+, ``heater_winding`` that for the amplifier's heaters,
    ``rectifier_winding`` that for a rectifier tube: one of its own, tied to its cathode, or the
    heaters' own. ``series`` is the resistor of a C-R-C.
    """

    transformer: Item
    winding: str
    heater_winding: str
    rectifier: str
    valve: Item
    filter: str
    c1: Item | None
    c2: Item | None
    choke: Item | None = None
    series: Item | None = None
    second: Item | None = None
    rectifier_winding: str = ""
    balance: str = "resistors"
    surge: Item | None = None
    fuse: Item | None = None
    bplus_fuse: Item | None = None
    bleeder: Item | None = None
    connector: Item | None = None
    pot: Item | None = None
    switch: Item | None = None

    @property
    def form(self) -> str:
        """The form in a word or two: the rectifier, the filter, and whether two transformers stand
        back to back.
        """
        return f"{self.rectifier} {self.filter}" + (", back to back" if self.second else "")

    def items(self) -> tuple[Item, ...]:
        """Return every part to buy but what every bench has: plug, wire, balance resistors; a
        tapped winding's two diodes both.
        """
        diodes = 2 if self.rectifier == "silicon" else 1
        found = [
            self.transformer,
            self.second,
            *[self.valve] * diodes,
            self.c1,
            self.choke,
            self.series,
            self.c2,
            self.surge,
            self.fuse,
            self.bplus_fuse,
            self.bleeder,
            self.connector,
            self.pot,
            self.switch,
        ]
        return tuple(item for item in found if item is not None)

    @property
    def price(self) -> float | None:
        """The sum of the prices, None where one is not on the list."""
        prices = [item.price for item in self.items()]
        return None if None in prices else sum(prices)

    def hv(self) -> Winding:
        """The winding for B+: of two back to back, the former primary of the second."""
        return (self.second or self.transformer).winding("primary" if self.second else self.winding)


def silicon_volts(choice: Choice) -> float:
    """Return the volts lost in the silicon that conducts at a time: 0.65 V each (as the solver has
    it), none in a tube.
    """
    from rework.solve.devices import SILICON

    return {"tube": 0, "bridge": 2}.get(choice.rectifier, 1) * SILICON.offset


def fed_volts(choice: Choice, line: float) -> float:
    """Return the RMS volts a rectifier is fed, each half of a tapped winding, with nothing
    connected, on a line of ``line`` volts.
    """
    volts = (
        choice.hv().volts
        * line
        / choice.transformer.winding("primary").volts
        * (0.5 if choice.rectifier in ("tube", "silicon") else 1.0)
    )
    if choice.second is not None:
        low = next(winding for winding in choice.second.windings if winding.name != "primary")
        volts *= choice.transformer.winding(choice.heater_winding).volts / low.volts
    return volts


def source_ohms(
    transformer: Item, winding: Winding, *, halves: bool, second: Item | None = None, low: str = ""
) -> float:
    """Return ohms a rectifier sees: the winding (or half of it) and all windings before it, by the
    square of the turns.

    The sum a rectifier sheet calls the limiting resistance of each plate (Mazda EZ80, 1963).
    """
    primary = transformer.winding("primary")
    if second is None:
        share = 0.5 if halves else 1.0
        return winding.ohms * share + primary.ohms * (winding.volts * share / primary.volts) ** 2
    first, other = (
        transformer.winding(low),
        second.winding(low) or second.winding("heater") or second.winding("secondary"),
    )
    feed = first.ohms + primary.ohms * (first.volts / primary.volts) ** 2
    return winding.ohms + (feed + other.ohms) * (winding.volts / other.volts) ** 2


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
    lines += [
        "",
        f"# heaters, balanced to common: {BALANCES[choice.balance]}",
        *_balance(choice, bplus),
        "",
        "# umbilical: the socket carries the volts, so that the pulled plug has none",
        "CH1 chassis : CHASSIS",
    ]
    rated = choice.connector
    says = f"{rated.volts:g} V {rated.amps:g} A" if rated else ""
    lines += [
        f"X1 connector socket {says} : 1=BP, 2=COMMON, 3=H1, 4=H2, 5=CHASSIS{_from(rated)}",
        f"X2 connector plug {says} mates X1 : 1=UB, 2=UC, 3=UH1, 4=UH2, 5=UE",
        "port "
        + ", ".join(
            f"{port} = {NODES[port]}"
            for port in PORTS
            if port in ports and not port.startswith(("switch", "motor"))
        ),
    ]
    text, problems = tidy("\n".join(lines) + "\n", "supply.circuit")
    if text is None:
        raise AssertionError(problems)
    return text


def supply_circuit(text: str, *, file: str = "") -> Circuit:
    """Return the circuit of a supply's text.

    Raises ValueError where it does not read, which only a strange name on the list could bring
    about.
    """
    circuit, problems = read_circuit(text, file=file)
    if circuit is None:
        raise ValueError("; ".join(problem.message for problem in problems))
    return circuit


def _v(dimension: str, amount: float) -> str:
    return write_value(Value(dimension, float(f"{amount:.6g}")))


def _from(item: Item | None, more: str = "") -> str:
    """Return the remark that names an item of the list, quotes taken out."""
    name = (item.name if item else "").replace('"', "'")
    told = "; ".join(one for one in (name, more) if one)
    return f'  "{told}"' if told else ""


def _line_side(choice: Choice, mains: Mains, ports: tuple[str, ...]) -> Iterator[str]:
    yield "# the line: fuse first, then the switch, then the primary"
    plug = "10 A 125 V" if mains.volts <= 127 else "10 A 250 V"
    yield f"P1 plug three-pin {plug} : line=L1, neutral=N1, earth=PE"
    yield (
        f'W1 wire green-yellow {"18 AWG" if mains.volts <= 127 else "1 mm2"} : PE -- CHASSIS "own'
        ' screw, longest of the three"'
    )
    fuse = choice.fuse
    yield (
        f"F1 fuse {_v('current', fuse.amps)} {fuse.volts:g} V {fuse.insulation} : L1 --"
        f" L2{_from(fuse)}"
        if fuse
        else "F1 fuse 1 A 250 V slow : L1 -- L2"
    )
    if "switch1" in ports:
        yield "port switch1 = L2, switch2 = L3"
    else:
        switch = choice.switch
        rated = (
            f"{_v('current', switch.amps)} {switch.volts:g} V"
            if switch
            else f"3 A {125 if mains.volts <= 127 else 250} V"
        )
        yield f"S1 switch SPST {rated} : L2 -- L3{_from(switch)}"
    motors = [port for port in PORTS if port.startswith("motor") and port in ports]
    if motors:
        yield "port " + ", ".join(f"{port} = {NODES[port]}" for port in motors)
    feed = "L3"
    if choice.surge is not None and choice.surge.kind == "thermistor":
        surge, feed = choice.surge, "L4"
        yield (
            f"TH1 thermistor NTC cold {_v('resistance', surge.value)} hot"
            f" {_v('resistance', surge.ohms)} {_v('current', surge.amps)} : L3 -- L4{_from(surge)}"
        )
    yield from _transformers(choice, feed)


def _wound(winding: Winding, nodes: str, *, name: str = "") -> str:
    amps = f" {_v('current', winding.amps)}" if winding.amps else ""
    return f"{name or winding.name} {winding.volts:g} V{amps} dcr {winding.ohms:g} ohm = {nodes}"


def _transformers(choice: Choice, feed: str) -> Iterator[str]:
    one = choice.transformer
    tapped = choice.rectifier in ("tube", "silicon")
    runs = [_wound(one.winding("primary"), f"{feed} -- N1")]
    unused = []
    for winding in one.windings:
        if winding.name.startswith("primary"):
            continue
        if winding.name == choice.winding and not choice.second:
            runs.append(
                _wound(
                    winding,
                    (
                        "HV1 -- COMMON -- HV2"
                        if tapped
                        else "HV1 -- COMMON"
                        if choice.rectifier == "half-wave"
                        else "HV1 -- HV2"
                    ),
                )
            )
        elif winding.name == choice.heater_winding:
            runs.append(
                _wound(winding, "H1 -- COMMON -- H2" if choice.balance == "tap" else "H1 -- H2")
            )
        elif winding.name == choice.rectifier_winding:
            runs.append(_wound(winding, f"RH -- {_nodes(choice)[0]}"))
        else:
            unused.append(winding.name)
    runs += ["screen=CHASSIS"] if one.screen else []
    idle = f"not used, every lead insulated: {', '.join(unused)}" if unused else ""
    if not tapped and not choice.second and one.winding(choice.winding).tapped:
        idle = "; ".join(
            text for text in (idle, f"tap of {choice.winding} not used, insulated") if text
        )
    yield f"T1 transformer {one.va:g} VA : {', '.join(runs)}, core=CHASSIS{_from(one, idle)}"
    if choice.second is not None:
        other = choice.second
        low = other.winding("heater") or other.winding("secondary")
        yield (
            f"T2 transformer {other.va:g} VA : {_wound(low, 'H1 -- H2', name='primary')},"
            f" {_wound(other.winding('primary'), 'HV1 -- HV2', name='hv')}, "
            f"{'screen=CHASSIS, ' if other.screen else ''}core=CHASSIS{_from(other, 'the wrong way round: its line winding gives B+')}"
        )


def _nodes(choice: Choice) -> tuple[str, str, str]:
    """Return the rectifier's own end, the first capacitor's node, and the last: fewer nodes where a
    part between them is left out.
    """
    out = "BO" if choice.bplus_fuse else "BP"
    first = out if choice.filter == "C" else "BR"
    return (
        ("BS" if choice.surge is not None and choice.surge.kind == "resistor" else first),
        first,
        out,
    )


def _rectifier(choice: Choice) -> Iterator[str]:
    item = choice.valve
    rated = f"{_v('current', item.amps)} {item.volts:g} V" if item.amps else ""
    out, first, _ = _nodes(choice)
    match choice.rectifier:
        case "bridge":
            yield (
                f"D1 bridge silicon {rated} : ac1=HV1, ac2=HV2, plus={out},"
                f" minus=COMMON{_from(item)}"
            )
        case "half-wave":
            yield f"D1 diode silicon {rated} : HV1 -- {out}{_from(item)}"
        case "silicon":
            yield f"D1 diode silicon {rated} : HV1 -- {out}{_from(item)}"
            yield f"D2 diode silicon {rated} : HV2 -- {out}{_from(item)}"
        case "tube":
            yield _tube(choice, out)
    if out != first:
        surge = choice.surge
        yield (
            f"R9 resistor {_v('resistance', surge.value)} {surge.watts:g} W wirewound surge 5% :"
            f" {out} -- {first}{_from(surge)}"
        )


def _tube(choice: Choice, out: str) -> str:
    """Return the line of a rectifier tube, its cathode on ``out``; a winding of its own is tied to
    its cathode.
    """
    tube = library.find(choice.valve.name)
    pins: dict[str, str] = {}
    for element, node in (("plate1", "HV1"), ("plate2", "HV2"), ("cathode", out)):
        pins |= dict.fromkeys(tube.pins_of(element), node)
    own = choice.rectifier_winding not in ("", choice.heater_winding)
    for end, node in (("heater1", "RH" if own else "H1"), ("heater2", out if own else "H2")):
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

    def capacitor(name: str, item: Item, node: str) -> str:
        return (
            f"{name} electrolytic {_v('capacitance', item.value)} {item.volts:g} V : {node} --"
            f" COMMON{_from(item)}"
        )

    if choice.c1 is not None:
        yield capacitor("C1", choice.c1, first)
    if choice.choke is not None:
        choke = choice.choke
        yield (
            f"L1 choke {_v('inductance', choke.value)} {_v('current', choke.amps)}"
            f" {_v('resistance', choke.ohms)} : {first} -- {out}{_from(choke)}"
        )
    if choice.series is not None:
        yield (
            f"R8 resistor {_v('resistance', choice.series.value)} {choice.series.watts:g} W"
            f" wirewound 5% : {first} -- {out}{_from(choice.series)}"
        )
    if choice.c2 is not None:
        yield capacitor("C2" if choice.c1 else "C1", choice.c2, out)
    bleeder = choice.bleeder
    if bleeder is not None:
        rated = f" {bleeder.volts:g} V" if bleeder.volts else ""
        yield (
            f"R1 resistor {_v('resistance', bleeder.value)} {bleeder.watts:g} W bleeder 5%{rated} :"
            f" {out} -- COMMON{_from(bleeder)}"
        )
    if choice.bplus_fuse is not None:
        fuse = choice.bplus_fuse
        yield (
            f"F2 fuse {_v('current', fuse.amps)} {fuse.volts:g} V {fuse.insulation} : BO --"
            f" BP{_from(fuse, 'rated for direct current of these volts, or left out')}"
        )


def _balance(choice: Choice, bplus: float) -> Iterator[str]:
    match choice.balance:
        case "pot":
            pot = choice.pot
            rated = (
                f"{_v('resistance', pot.value)} {pot.watts:g} W"
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
