"""The parts that usually stand around each tube of a line-up, with the nodes they share: a list to
keep from or to strike, never a finding.

Values are common practice, no source; those of an output stage follow from the rows of the tube.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rework.anatomy.lineup import Duty, HeaterLayout, LineUp, PlannedUnit
from rework.circuit.preferred import E12, WATTS, nearest, rating
from rework.tubes.tubetype import PrintedRow

COMMON, LINE, SWITCHED, CHASSIS = "COMMON", "L1", "L2", "CHASSIS"
#: Lines up to so many volts have the parts of American sets.
_LOW_LINE = 160.0
#: What a node on an element is called, before the number of its tube, in the order in which an
#: element's pin is looked for.
NODE_STEMS = {
    "grid": "G",
    "signal-grid": "SG",
    "cathode": "CATH",
    "suppressor": "SUP",
    "screen": "SC",
    "plate": "PL",
    "plate1": "PLA",
    "plate2": "PLB",
    "beam-plates": "BP",
    "target": "TG",
    "diode1": "DA",
    "diode2": "DB",
    "diode3": "DC",
    "shield": "SH",
    "lamp-tap": "TAP",
    "heater-tap": "TAP",
}
#: What a unit adds to the name of its nodes.
_UNIT_LETTERS = {
    "triode1": "A",
    "triode2": "B",
    "diode1": "A",
    "diode2": "B",
    "diode3": "C",
    "triode": "T",
    "pentode": "P",
    "beam": "P",
    "heptode": "H",
    "rectifier": "R",
}


@dataclass(frozen=True, slots=True)
class UsualPart:
    """A part that is often there: the letter of its name, its head and connections as a file writes
    them, and what it is for. ``join`` lines have no letter.
    """

    letter: str
    head: str
    ends: str
    remark: str = ""


def node_of(unit: str, element: str, number: str) -> str:
    """Return what the node on an element of tube ``number`` is called: ``PL1``, ``G2B``."""
    return NODE_STEMS[element] + number + _UNIT_LETTERS.get(unit, "")


def printed_row(unit: PlannedUnit, volts: float) -> PrintedRow | None:
    """Return the printed row of an output unit with a load and bias that is nearest to some plate
    volts, None where there is none.
    """
    rows = [
        row
        for row in unit.seat.tube.typical
        if row.unit == unit.name and "load_ohms" in row and "plate_volts" in row and _bias(row)
    ]
    return min(rows, key=lambda row: abs(row["plate_volts"].value - volts), default=None)


def _bias(row: PrintedRow) -> float | None:
    """Return the ohms of a cathode resistor that makes the bias of a row."""
    ohms, grid, plate = row.get("cathode_ohms"), row.get("grid_volts"), row.get("plate_amps")
    if ohms is not None:
        return ohms.value
    if grid is None or plate is None or grid.value >= 0:
        return None
    screen = row.get("screen_amps")
    return -grid.value / (plate.value + (screen.value if screen else 0.0))


class Usual:
    """The usual parts of one line-up."""

    def __init__(self, lines: LineUp) -> None:
        self.lines = lines
        self.low = lines.mains.volts <= _LOW_LINE
        self.small = [unit for unit in lines.units if unit.duty in (Duty.TRIODE, Duty.PENTODE)]
        self.outputs = [unit for unit in lines.units if unit.duty is Duty.OUTPUT]
        self.rectifiers = [unit for unit in lines.units if unit.duty is Duty.RECTIFIER]

    # nodes

    def node(self, unit: PlannedUnit, element: str) -> str:
        """Return the node on an element of a unit, shared elements included: B1 at the first
        rectifier's cathode.
        """
        if self.rectifiers and unit.duty is Duty.RECTIFIER and element == "cathode":
            index = self.rectifiers.index(unit)
            return "B1" if index == 0 else f"B1{'ABC'[index]}"
        tube = unit.seat.tube
        name = f"{unit.name}.{element}" if unit.name else element
        shared = not any(name in carried for _, carried in tube.elements)
        return node_of("" if shared else unit.name, element, unit.seat.name[1:])

    @staticmethod
    def has(unit: PlannedUnit, element: str) -> bool:
        """Return whether a unit has an element on a pin of its own or of the bulb."""
        return bool(unit.seat.tube.pins_of(f"{unit.name}.{element}" if unit.name else element))

    # parts

    def of_the_line(self) -> Iterator[UsualPart]:
        """Yield what is often between the line, the common and the metal."""
        volts = "400 V paper" if self.low else "1000 V paper"
        farads = ".047 uF" if self.low else ".01 uF"
        yield UsualPart(
            "C", f"capacitor {farads} {volts} 20%", f"{SWITCHED} -- {COMMON}", "line hash"
        )
        if self.lines.layout is not HeaterLayout.TRANSFORMER:
            ends = f"{COMMON} -- {CHASSIS}"
            yield UsualPart(
                "C", f"capacitor {farads} {volts} 20%", ends, "between the common and the metal"
            )
            yield UsualPart("R", "resistor 220k 1/2 W 20%", ends)

    def of_the_supply(self) -> Iterator[UsualPart]:
        """Yield rectifier parts and filter."""
        surge = "33 ohm 2 W" if self.low else "150 ohm 5 W"
        if not self.rectifiers:
            yield UsualPart("R", f"resistor surge {surge} 10%", f"{SWITCHED} -- AN")
            yield UsualPart("D", "diode silicon 1 A 1000 V", "AN -- B1", "or selenium")
        for unit in self.rectifiers:
            yield from self._of_a_rectifier(unit, surge)
        yield from self._filter()

    def _of_a_rectifier(self, unit: PlannedUnit, surge: str) -> Iterator[UsualPart]:
        if self.has(unit, "plate1"):
            yield UsualPart("", "join", f"HV1 {self.node(unit, 'plate1')}")
            yield UsualPart("", "join", f"HV2 {self.node(unit, 'plate2')}")
            return
        plate, number = self.node(unit, "plate"), unit.seat.name[1:]
        source = SWITCHED
        if self.has(unit, "lamp-tap"):
            source = node_of("", "lamp-tap", number)
            yield UsualPart(
                "LP",
                "lamp pilot #47",
                f"{SWITCHED} -- {source}",
                "dial lamp across the tapped part of the heater",
            )
        yield UsualPart("R", f"resistor surge {surge} 10%", f"{source} -- {plate}", "or a wire")
        cathode = self.node(unit, "cathode")
        if cathode != "B1":
            yield UsualPart(
                "",
                "join",
                f"B1 {cathode}",
                "both sections in parallel; a doubler is wired in another way",
            )

    def _filter(self) -> Iterator[UsualPart]:
        behind = self.lines.layout is HeaterLayout.TRANSFORMER
        volts = "450 V" if behind else "150 V" if self.low else "350 V"
        ohms = "1k 2 W" if self.low else "2.2k 3 W"
        yield UsualPart("C", f"electrolytic 40 uF {volts}", f"B1 -- {COMMON}")
        yield UsualPart("R", f"resistor {ohms} 10%", "B1 -- B2")
        yield UsualPart("C", f"electrolytic 40 uF {volts}", f"B2 -- {COMMON}")

    def of_a_unit(self, unit: PlannedUnit) -> Iterator[UsualPart]:
        """Yield what usually stands around one unit, the way on to the next one included."""
        if unit.duty is Duty.OUTPUT:
            yield from self._of_an_output(unit)
        elif unit.duty in (Duty.TRIODE, Duty.PENTODE):
            yield from self._of_a_small_stage(unit)
        yield from self._of_diodes(unit)

    def _of_a_small_stage(self, unit: PlannedUnit) -> Iterator[UsualPart]:
        grid, plate, cathode = (self.node(unit, name) for name in ("grid", "plate", "cathode"))
        first = unit is self.small[0]
        if first:
            yield from self._input(grid)
        if self._by_grid_current(unit):
            yield UsualPart(
                "R",
                "resistor 10M 1/2 W 20%",
                f"{grid} -- {COMMON}",
                "its grid current makes the bias",
            )
            yield UsualPart("", "join", f"{COMMON} {cathode}")
        else:
            leak = "2.2M" if first and unit.duty is Duty.PENTODE else "470k"
            yield UsualPart("R", f"resistor {leak} 1/2 W 10%", f"{grid} -- {COMMON}", "grid leak")
            if not self._shares_a_cathode(unit):
                yield UsualPart("R", "resistor 2.2k 1/2 W 10%", f"{cathode} -- {COMMON}", "bias")
                yield UsualPart("C", "electrolytic 25 uF 25 V", f"{cathode} -- {COMMON}")
        yield from self._screen(unit, "1M")
        yield UsualPart("R", "resistor 220k 1/2 W 10%", f"B2 -- {plate}", "plate load")
        yield from self._onward(unit, plate)

    def _shares_a_cathode(self, unit: PlannedUnit) -> bool:
        """Whether a unit nearer to the input has the same cathode pin."""
        before = self.small[: self.small.index(unit)]
        node = self.node(unit, "cathode")
        return any(self.node(other, "cathode") == node for other in before)

    @staticmethod
    def _by_grid_current(unit: PlannedUnit) -> bool:
        return "diode triode" in unit.seat.tube.kind

    def _input(self, grid: str) -> Iterator[UsualPart]:
        if self.lines.is_radio:
            return
        yield UsualPart("J", "jack input", f"tip=IN, sleeve={COMMON}")
        yield UsualPart("C", "capacitor .01 uF 400 V paper 20%", f"IN -- {grid}")

    def _onward(self, unit: PlannedUnit, plate: str) -> Iterator[UsualPart]:
        """Yield the coupling to the next grid, with the volume control behind the first of several
        stages.
        """
        index = self.small.index(unit)
        following = [*self.small[index + 1 :], *self.outputs[:1]]
        if not following:
            return
        grid = self.node(following[0], "grid")
        film = "capacitor .01 uF 400 V paper 20%"
        if index == 0 and len(self.small) > 1:
            yield UsualPart("C", film, f"{plate} -- VOL")
            yield UsualPart(
                "R",
                "pot 500k 1/2 W audio metal-shaft",
                f"ccw={COMMON}, wiper=WIPER, cw=VOL, shaft={CHASSIS}",
                "volume",
            )
            yield UsualPart("C", film, f"WIPER -- {grid}")
        else:
            yield UsualPart("C", film, f"{plate} -- {grid}")

    def _screen(self, unit: PlannedUnit, ohms: str) -> Iterator[UsualPart]:
        cathode = self.node(unit, "cathode")
        if self.has(unit, "screen"):
            screen = self.node(unit, "screen")
            yield UsualPart("R", f"resistor {ohms} 1/2 W 10%", f"B2 -- {screen}", "screen")
            yield UsualPart("C", "capacitor .1 uF 400 V paper 20%", f"{screen} -- {COMMON}")
        if self._own_pin(unit, "suppressor"):
            yield UsualPart("", "join", f"{cathode} {self.node(unit, 'suppressor')}")

    def _own_pin(self, unit: PlannedUnit, element: str) -> bool:
        """Whether an element is what one of the pins is called by."""
        tube = unit.seat.tube
        name = f"{unit.name}.{element}" if unit.name else element
        return any(tube.element(pin) in (name, element) for pin in tube.socket_pins)

    def _of_diodes(self, unit: PlannedUnit) -> Iterator[UsualPart]:
        """Yield joins of diode plates that an amplifier does not use, and of shields."""
        number = unit.seat.name[1:]
        tube = unit.seat.tube
        if unit is not next(
            planned_unit for planned_unit in self.lines.units if planned_unit.seat is unit.seat
        ):
            return
        if not self.lines.is_radio:
            for element in ("diode1", "diode2", "diode3"):
                if any(tube.element(pin) == element for pin in tube.socket_pins):
                    yield UsualPart("", "join", f"{COMMON} {node_of('', element, number)}")
        if any(tube.element(pin) == "shield" for pin in tube.socket_pins):
            yield UsualPart("", "join", f"{COMMON} {node_of('', 'shield', number)}", "shield")

    def _of_an_output(self, unit: PlannedUnit) -> Iterator[UsualPart]:
        grid, cathode = self.node(unit, "grid"), self.node(unit, "cathode")
        if not self.small and unit is self.outputs[0]:
            yield from self._input(grid)
        driven = (
            "" if unit is self.outputs[0] else "; look how the second grid of the pair is driven"
        )
        yield UsualPart("R", "resistor 470k 1/2 W 10%", f"{grid} -- {COMMON}", f"grid leak{driven}")
        row = self.row_of(unit)
        ohms = nearest(_bias(row) or 150.0, E12) if row else 150.0
        watts = self._bias_watts(row, ohms)
        yield UsualPart(
            "R", f"resistor {ohms:g} ohm {watts:g} W 10%", f"{cathode} -- {COMMON}", "bias"
        )
        yield UsualPart("C", "electrolytic 25 uF 25 V", f"{cathode} -- {COMMON}")
        if self.has(unit, "screen"):
            yield UsualPart("", "join", f"B2 {self.node(unit, 'screen')}", "screen")
        if self._own_pin(unit, "suppressor"):
            yield UsualPart("", "join", f"{cathode} {self.node(unit, 'suppressor')}")
        if unit is self.outputs[0]:
            yield from self._speaker(row)

    def row_of(self, unit: PlannedUnit) -> PrintedRow | None:
        """Return the printed row that an output unit is nearest to on this line."""
        return printed_row(unit, self.lines.mains.volts)

    @staticmethod
    def _bias_watts(row: PrintedRow | None, ohms: float) -> float:
        if row is None:
            return 1.0
        screen = row.get("screen_amps")
        amps = (
            row["plate_amps"].value + (screen.value if screen else 0.0)
            if "plate_amps" in row
            else 0.05
        )
        return rating(2 * amps**2 * ohms, WATTS) or WATTS[-1]

    def _speaker(self, row: PrintedRow | None) -> Iterator[UsualPart]:
        load = _ohms(row["load_ohms"].value) if row else "2.5k"
        plates = [self.node(unit, "plate") for unit in self.outputs]
        primary = f"B1 -- {plates[0]}" if len(plates) == 1 else f"{plates[0]} -- B1 -- {plates[1]}"
        if len(plates) > 1:
            load = _ohms(2 * row["load_ohms"].value) if row else "5k"
        yield UsualPart(
            "T",
            "output transformer 4 W",
            f"primary load {load} = {primary}, secondary load 4 ohm = SP -- {COMMON}",
            "load as printed for this tube",
        )
        yield UsualPart("LS", "speaker 4 ohm", f"1=SP, 2={COMMON}")


def _ohms(amount: float) -> str:
    """Return ohms as a file writes them."""
    return f"{amount / 1000:g}k" if amount >= 1000 else f"{amount:g} ohm"
