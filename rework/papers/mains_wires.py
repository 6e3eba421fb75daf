"""The wires at line voltage: cord, strain relief, colours and gauge of the region, the switch lead.

A colour never proves what a wire is: codes of regions, decades and chassis wiring clash. What can
meet in one set is reported.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import pi

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part

#: A line of at least so many volts is wired by the European code, a lower one by the American.
_EUROPE = 200.0
#: Usual cross-sections in mm2, and how far under the wanted one a size may be.
_SIZES = (0.5, 0.75, 1.0, 1.5, 2.5)
_NEARLY = 0.9


@dataclass(frozen=True, slots=True)
class Region:
    """What a region asks of a line cord, each with its source.

    ``colours`` are line, neutral and earth; ``gauge`` the thinnest cord; ``relief`` the pull that
    the strain relief has to hold.
    """

    colours: tuple[str, str, str]
    code: str
    gauge: str
    gauge_source: str
    relief: str
    relief_source: str
    insulation: str


AMERICA = Region(
    ("black", "white", "green"),
    "cord maker's table of AWG, harmonised and IEC 227 cords (ningbohewang.com/Edianlan.htm); the"
    " code itself, NFPA 70, was not seen",
    "18 AWG or thicker, 300 V",
    "UL table 11.1 as quoted at bbs.angui.org (thread 1137)",
    "156 N (35 lbf) for one minute",
    "UL 859 clause 41 as quoted at bbs.angui.org (thread 83464)",
    "300 V or more inside the chassis (UL 758 style 1007, 1015 or better; from memory)",
)
EUROPE = Region(
    ("brown", "blue", "green-yellow"),
    "IEC 60446 as described at en.wikipedia.org/wiki/IEC_60446",
    "0.75 mm2 or thicker, 300/500 V",
    "0.75 mm2 to 6 A: from memory; type 60227 IEC 53: EN 60335-1:2002 25.7 as quoted at"
    " bbs4.angui.org (thread 3799)",
    "60 N and 0.25 Nm up to 4 kg, 100 N and 0.35 Nm above",
    "IEC 60335-1 25.15 as tabled by Hongce, hctestequipment.com",
    "300/500 V or more inside the chassis (from memory)",
)
#: Where codes clash: what the colour is in a line cord, and what else it is in an old chassis.
CLASHES = {
    "black": "hot in an American cord, ground in the chassis code",
    "white": "neutral in an American cord, bias in the chassis code",
    "green": "earth in an American cord, control grids in the chassis code",
    "brown": "line in a European cord, heaters in the chassis code",
    "blue": "neutral in a European cord, plates in the chassis code",
    "green-yellow": "earth in every cord, heater centre tap in transformer lead codes",
    "red": "earth in German cords to 1965, live in British cords to 1970, B+ in the chassis code",
    "gray": "neutral in German cords to 1965, line wires in the chassis code",
}
_CLASH_SOURCE = (
    "chassis code: US Navy, Drafting manual 14040, fig. 6-15; transformer leads: ARRL Handbook and"
    " Orr, Radio Handbook as quoted at tubeamparchive.com; cords: ningbohewang.com; old German"
    " cords: alexhaack.de; old British cords: electrical-contractor.net (132632)"
)


def region(circuit: Circuit) -> Region:
    """Return what the region of the set's line asks."""
    volts = circuit.mains.volts if circuit.mains else 0.0
    return EUROPE if volts >= _EUROPE else AMERICA


def gauge_words(part: Part, circuit: Circuit) -> str:
    """Return the gauge of a wire in the unit of the region: AWG, or the usual size in mm2."""
    number, area = part.value("gauge"), part.value("area")
    written = next((v.text for v in part.values if v.dimension in ("gauge", "area")), "")
    if number is None or region(circuit) is AMERICA or area is not None:
        return written or "not stated"
    square = awg_area(number) * 1e6
    size = next((size for size in _SIZES if size >= _NEARLY * square), square)
    return f"{size:.3g} mm2"


def in_regions_unit(part: Part, circuit: Circuit) -> Part:
    """Return a wire with its gauge in the unit of the region; any other part as it is."""
    values = tuple(
        replace(value, text=gauge_words(part, circuit)) if value.dimension == "gauge" else value
        for value in part.values
    )
    return replace(part, values=values)


def awg_area(number: float) -> float:
    """Return the cross-section in m2 of an AWG number: d = 0.127 mm x 92^((36 - n) / 39).

    ASTM B258, from memory; 18 AWG is 0.82 mm2 (UL table 11.1 as quoted at bbs.angui.org).
    """
    diameter = 0.127e-3 * 92 ** ((36 - number) / 39)
    return float(pi * diameter**2 / 4)


def cord_rows(circuit: Circuit) -> tuple[tuple[str, str, str, str, str, str], ...]:
    """Return rows of wire, colour, gauge, make, from, to for the cord of each plug."""
    asked = region(circuit)
    rows = []
    for part in circuit.parts:
        if part.kind != "plug":
            continue
        colours = dict(zip(("line", "neutral", "earth"), asked.colours, strict=True))
        leads = [terminal for terminal in ("earth", "line", "neutral") if part.node(terminal)]
        rows += [
            (
                f"{part.name} cord, {terminal}",
                colours[terminal],
                asked.gauge,
                "longest, own screw" if terminal == "earth" else "in the cord",
                f"{part.name} {terminal}",
                f"point {part.at(terminal)}",
            )
            for terminal in leads
        ]
    return tuple(rows)


def notes(circuit: Circuit, colours: tuple[str, ...]) -> tuple[str, ...]:
    """Return what to know of the wires at line voltage, each with its source."""
    asked = region(circuit)
    clashing = [
        f"{colour}: {CLASHES[colour]}"
        for colour in dict.fromkeys((*asked.colours, *colours))
        if colour in CLASHES
    ]
    return (
        f"Cord: {asked.gauge} ({asked.gauge_source}). Colours: {', '.join(asked.colours)} for line,"
        f" neutral and earth ({asked.code}).",
        f"Strain relief: {asked.relief} ({asked.relief_source}).",
        f"Insulation at line voltage: {asked.insulation}. The lead to the switch is shielded cable"
        " rated for the line; its shield ends on the supply chassis and is cut back at the switch.",
        "A colour does not prove what a wire is; measure. In this set can meet: "
        + "; ".join(clashing)
        + f" ({_CLASH_SOURCE}).",
    )
