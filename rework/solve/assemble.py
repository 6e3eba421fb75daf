"""From a circuit as written to its equations: every part by its kind, one reference for each
island, what cannot be solved named.
"""

from __future__ import annotations

from collections.abc import Mapping

from rework.anatomy.amplifier import of
from rework.anatomy.grounds import COMMON_NAMES, common_name
from rework.anatomy.links import closed_contacts, joints
from rework.circuit.circuit import Circuit, Mains
from rework.circuit.graph import Merged, contracted
from rework.circuit.kinds import Law
from rework.circuit.parts import Part, drawn_position
from rework.circuit.place import Problem
from rework.language.mistakes import a_or_an
from rework.solve import devices as laws
from rework.solve.fit import NoData, fitted, screened, small_diode, units_of
from rework.solve.network import LEAK, Branch, CannotSolve, Coil, Device, Network
from rework.solve.suspects import unheld, warnings
from rework.solve.windings import MOST_HENRIES, Winding, rings, windings
from rework.tubes import library

#: Middle of a control as a share of its track: an audio taper stands at a tenth (common practice,
#: no source).
MIDDLE = {"audio": 0.1, "reverse-audio": 0.9}
#: What has no equation of its own: it joins nodes, or does nothing to a current.
UNSTAMPED = frozenset(
    {
        Law.CONDUCTOR,
        Law.POLES,
        Law.LINK,
        Law.BREAK_CONTACT,
        Law.MATED_CONTACTS,
        Law.EARTH,
        Law.NOTHING,
    }
)
#: Tolerances where the file gives none, by kind (common practice, no source).
TOLERANCE = {"resistor": 0.10, "pot": 0.20}
#: The same of capacitors, of the ohms of a winding or choke, and of the henries of a choke (common
#: practice, no source).
CAPACITOR_TOLERANCE, WINDING_TOLERANCE, CHOKE_TOLERANCE = 0.20, 0.10, 0.20


def assemble(
    circuit: Circuit,
    *,
    rotation: Mapping[str, float] | None = None,
    emission: bool = True,
    powered: bool = True,
    overrides: Mapping[str, object] | None = None,
) -> Network:
    """Return the equations of a circuit with every switch on.

    ``rotation`` turns pots by name, 0 at ccw to 1 at cw, the middle otherwise. Without ``emission``
    every tube but the rectifiers is cold. Not ``powered``, there is no line and no emission, and
    heaters and thermistors are cold: what an ohmmeter meets. ``overrides`` puts a law of one's own
    in a part by name. Raises CannotSolve naming every part that stands in the way.
    """
    return _Assembly(
        circuit, rotation or {}, emission and powered, powered, overrides or {}
    ).network()


class _Assembly:
    def __init__(
        self, circuit: Circuit, rotation, emission: bool, powered: bool, overrides
    ) -> None:
        self.circuit, self.rotation, self.overrides = circuit, rotation, overrides
        self.emission, self.powered = emission, powered
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self.branches: list[tuple] = []
        self.devices: list[tuple] = []
        self.extra: dict[str, list] = {}
        self.coils: list[Coil] = []
        self.windings: list[Winding] = []
        self.sources: list[tuple[str, str, str]] = []
        self.node = self._points()

    def _points(self) -> dict[str, str]:
        """Return every node with the name of the point that wires, closed switches, fuses and mated
        contacts make of it.
        """
        merged = Merged()
        first = contracted(self.circuit)
        for node, point in first.items():
            merged.join(node, point)
        for part in self.circuit.parts:
            if part.traits.is_switch:
                for contacts in closed_contacts(part, drawn_position(part)):
                    nodes = [part.node(contact) for contact in contacts]
                    for node in nodes[1:]:
                        merged.join(nodes[0], node)
            elif part.traits.is_overcurrent:
                merged.join(part.at("1"), part.at("2"))
            elif part.kind == "jack" and part.node("break") and part.node("tip"):
                merged.join(part.node("tip"), part.node("break"))
        for one, a, other, b in joints(self.circuit):
            merged.join(self.circuit.by_name[one].node(a), self.circuit.by_name[other].node(b))
        earths = [
            node
            for part in self.circuit.parts
            for terminal, node in part.pins
            if part.kind == "earth" or (part.kind == "plug" and terminal == "earth")
        ]
        for node in earths[1:]:
            merged.join(earths[0], node)
        names: dict[str, str] = {}
        for node in sorted(self.circuit.nodes):
            names.setdefault(merged.find(node), node)
        return {node: names[merged.find(node)] for node in self.circuit.nodes}

    def fault(self, part: Part, message: str, hint: str) -> None:
        self.problems.append(Problem(message, part.place, hint=hint))

    def network(self) -> Network:
        import numpy as np

        for part in self.circuit.parts:
            self._part(part)
        if not self.sources and self.powered:
            self.problems.append(
                Problem(
                    "no plug brings the line into this circuit, so it has no volts",
                    hint="attach the supply, or add a plug and a line of mains",
                )
            )
        if self.circuit.mains is None and self.powered:
            self.problems.append(
                Problem(
                    "the file does not say which line it is for",
                    hint="write a line such as mains 117 V 60 Hz",
                )
            )
        if self.powered and self.circuit.mains:
            self.problems += rings(
                self.windings,
                self.sources[0][1:] if self.sources else None,
                self.circuit.mains.volts,
                self.node,
            )
        if not self.node and not self.problems:
            self.problems.append(
                Problem(
                    "there is no part in this circuit, so there is nothing to measure",
                    hint="write its parts, one a line; rework new makes a start",
                )
            )
        if self.problems:
            raise CannotSolve(*self.problems)
        reference, called = self._reference()
        points = sorted(set(self.node.values()) - {reference})
        index = {point: n for n, point in enumerate(points)} | {reference: -1}
        rows = {name: len(points) + n for n, name in enumerate(self.extra)}
        n = len(points) + len(rows)
        g, c = np.zeros((n + 1, n + 1)), np.zeros((n + 1, n + 1))
        at = {**index, **rows}
        for entries in self.extra.values():
            for matrix, row, column, value in entries:
                (g if matrix == "g" else c)[at[row], at[column]] += value
        branches = tuple(
            Branch(name, kind, index[a], index[b], value, spread)
            for name, kind, a, b, value, spread in self.branches
            if index[a] != index[b]
        )
        afloat = self._afloat(reference)
        branches += tuple(Branch("leak", "r", index[point], -1, 1 / LEAK) for point in afloat)
        self.notes += unheld(self.circuit, self.node, afloat)
        made = tuple(
            Device(name, unit, law, tuple(index[one] for one in ends), index[to])
            for name, unit, law, ends, to in self.devices
        )
        mains = self.circuit.mains or Mains(0.0, 0.0)
        peak = mains.volts * (2**0.5 if mains.hertz else 1)
        return Network(
            tuple(points) + tuple(rows),
            {node: index[point] for node, point in self.node.items()},
            called,
            branches,
            made,
            g[:n, :n],
            c[:n, :n],
            rows,
            tuple(row for name, row in rows.items() if name == "line" or name.startswith("line.")),
            peak,
            mains.hertz,
            tuple(dict.fromkeys(self.notes)),
            coils=tuple(self.coils),
            warnings=warnings(self.circuit, self.node),
        )

    # islands

    def _joined(self, *, capacitors: bool) -> Merged:
        merged = Merged()
        for _, kind, a, b, _, _ in self.branches:
            if kind == "r" or capacitors:
                merged.join(a, b)
        for _, _, _, ends, to in self.devices:
            for one in ends:
                merged.join(one, to)
        for name, entries in self.extra.items():
            ends = sorted(
                {
                    row
                    for _, row, column, _ in entries
                    if column == name and row in self.node.values()
                }
            )
            for one in ends[1:]:
                merged.join(ends[0], one)
        return merged

    def _reference(self) -> tuple[str, str]:
        """Return the point that volts are counted from, and what the circuit calls it."""
        anatomy = of(self.circuit)
        called = common_name(anatomy.wiring, anatomy.common)
        if called is not None:
            return self.node[called], called
        busy = dict.fromkeys(self.node.values(), 0)
        for part in self.circuit.parts:
            for _, node in part.pins:
                busy[self.node[node]] += 1
        most = max(sorted(busy), key=lambda point: busy[point])
        points = sorted({self.node[point] for point in anatomy.common}) or [most]
        why = ", on which most pins are" if points[0] == most else ", where the filter of B+ ends"
        names = ", ".join(name for known in COMMON_NAMES for name in known)
        self.notes.append(
            f"no node is called {names}: volts are against {points[0]}{why}; write join COMMON"
            f" {points[0]} to say so"
        )
        return points[0], points[0]

    def _afloat(self, reference: str) -> list[str]:
        """Return one point of every island without a direct-current path to the reference: it gets
        a leak to it. Of the line's that is the neutral.
        """
        merged = self._joined(capacitors=False)
        seen = {merged.find(reference)}
        neutrals = [
            self.node[part.node("neutral")]
            for part in self.circuit.parts
            if part.kind == "plug" and part.node("neutral")
        ]
        found = []
        for point in [*neutrals, *sorted(set(self.node.values()))]:
            if merged.find(point) not in seen:
                seen.add(merged.find(point))
                found.append(point)
        return found

    # parts

    def _part(self, part: Part) -> None:
        match part.kind:
            case "resistor":
                self._resistor(
                    part, part.name, part.node("1"), part.node("2"), part.value("resistance")
                )
            case "pot":
                self._pot(part)
            case "thermistor":
                role = "hot" if self.powered else "cold"
                ohms = (
                    part.value("resistance", role=role)
                    or part.value("resistance")
                    or part.value("resistance", role="hot")
                )
                self._resistor(part, part.name, part.node("1"), part.node("2"), ohms)
            case "capacitor" | "electrolytic":
                self._capacitor(part)
            case "speaker" | "dummy load":
                self._resistor(
                    part,
                    part.name,
                    part.node("1"),
                    part.node("2"),
                    part.value("resistance"),
                    spread=0.0,
                )
            case "lamp":
                self._lamp(part)
            case "motor":
                watts, volts = part.value("power"), part.value("voltage")
                ohms = part.value("resistance") or (
                    volts * volts / watts if watts and volts else None
                )
                self._resistor(part, part.name, part.node("1"), part.node("2"), ohms, spread=0.0)
                self.notes.append(f"{part.name} is taken as a resistance of its watts")
            case "pickup" | "microphone":
                self._resistor(
                    part,
                    part.name,
                    part.node("signal"),
                    part.node("shield"),
                    part.value("resistance") or 1e6,
                    spread=0.0,
                )
                if not part.value("resistance"):
                    self.notes.append(f"{part.name} has no resistance in the file: taken as 1 Mohm")
            case "choke":
                self._choke(part)
            case "transformer" | "output transformer" | "autotransformer":
                self._transformer(part)
            case "diode" | "selenium":
                law = (
                    laws.SELENIUM
                    if part.kind == "selenium"
                    else laws.GERMANIUM
                    if "germanium" in part.words
                    else laws.SILICON
                )
                self._device(part, "", self.overrides.get(part.name, law), ("anode",), "cathode")
            case "bridge":
                law = self.overrides.get(
                    part.name, laws.SELENIUM if "selenium" in part.words else laws.SILICON
                )
                for unit, a, k in (
                    ("1", "ac1", "plus"),
                    ("2", "ac2", "plus"),
                    ("3", "minus", "ac1"),
                    ("4", "minus", "ac2"),
                ):
                    self._device(part, unit, law, (a,), k)
            case "tube":
                self._tube(part)
            case "plug":
                self._plug(part)
            case _ if part.traits.law not in UNSTAMPED:
                self.fault(
                    part,
                    f"{part.name}: the volts around {a_or_an(part.kind)} are not computed",
                    "for the numbers leave it out, or put resistors in its place; the mains check"
                    " needs neither",
                )

    def _resistor(
        self,
        part: Part,
        name: str,
        a: str | None,
        b: str | None,
        ohms: float | None,
        *,
        spread: float | None = None,
    ) -> None:
        if a is None or b is None:
            return
        if ohms is None:
            self.fault(
                part,
                f"{part.name} has no resistance in the file",
                f"write its ohms, as in {part.name} {part.kind} 100 ohm",
            )
        elif ohms < 1e-3:
            self.fault(part, f"{part.name} has no ohms at all ({ohms:g})", "write it as a wire")
        elif ohms > 1e12:
            self.fault(
                part,
                f"{part.name} has an absurd resistance ({ohms:g} ohm)",
                "look at its multiplier",
            )
        else:
            given = part.value("fraction")
            tolerance = (
                spread
                if spread is not None
                else given
                if given is not None
                else TOLERANCE.get(part.kind, 0.1)
            )
            if not 0 <= tolerance < 0.9:
                self.fault(
                    part,
                    f"{part.name} has an absurd tolerance ({tolerance:.0%})",
                    "look at its per cent",
                )
            self.branches.append((name, "r", self.node[a], self.node[b], ohms, tolerance))

    def _pot(self, part: Part) -> None:
        ohms = part.value("resistance")
        middle = next((MIDDLE[word] for word in part.words if word in MIDDLE), 0.5)
        turned = self.rotation.get(part.name)
        share = middle if turned is None or turned == 0.5 else turned
        if ohms is None:
            self.fault(
                part, f"{part.name} has no resistance in the file", "write its ohms, as in pot 500k"
            )
            return
        ends = max(ohms * 1e-4, 1.0)
        self._resistor(
            part, f"{part.name}.ccw", part.node("ccw"), part.node("wiper"), max(share * ohms, ends)
        )
        self._resistor(
            part,
            f"{part.name}.cw",
            part.node("wiper"),
            part.node("cw"),
            max((1 - share) * ohms, ends),
        )

    def _capacitor(self, part: Part) -> None:
        farads = part.value("capacitance")
        a, b = part.pins[0][1], part.pins[-1][1]
        if farads is None:
            self.fault(part, f"{part.name} has no capacitance in the file", "write its microfarads")
        elif not 0 < farads < 1:
            self.fault(
                part,
                f"{part.name} has an absurd capacitance ({farads:g} F)",
                "look at its multiplier",
            )
        else:
            tolerance = part.value("fraction") or CAPACITOR_TOLERANCE
            if tolerance >= 0.9:
                self.fault(
                    part,
                    f"{part.name} has an absurd tolerance ({tolerance:.0%})",
                    "look at its per cent",
                )
            self.branches.append((part.name, "c", self.node[a], self.node[b], farads, tolerance))

    def _lamp(self, part: Part) -> None:
        if "neon" in part.words:
            return
        volts, amps, watts = part.value("voltage"), part.value("current"), part.value("power")
        ohms = (
            volts / amps if volts and amps else volts * volts / watts if volts and watts else None
        )
        if ohms is None:
            self.fault(
                part,
                f"{part.name} has no volts and amps in the file",
                "write both, as in lamp pilot 6.3 V 150 mA",
            )
        else:
            self._resistor(part, part.name, part.node("1"), part.node("2"), ohms, spread=0.0)

    def _choke(self, part: Part) -> None:
        henries, ohms = (
            part.value("inductance"),
            part.value("resistance") or part.value("resistance", role="dcr"),
        )
        if henries is None:
            self.fault(
                part,
                f"{part.name} has no inductance in the file",
                "write its henries, as in choke 8 H 75 mA 250 ohm",
            )
            return
        if not 0 < henries <= MOST_HENRIES:
            self.fault(
                part,
                f"{part.name} has an absurd inductance ({henries:g} H)",
                "look at its multiplier",
            )
        if ohms is None:
            self.notes.append(
                f"{part.name} has no resistance in the file: taken as 1 ohm, so B+ reads high"
            )
        self._winding(part.name, part.node("1"), part.node("2"), ohms or 1.0)
        self.extra[part.name].append(("c", part.name, part.name, -henries))
        self.coils.append(Coil(part.name, part.name, ohms or 1.0, WINDING_TOLERANCE, henries))

    def _winding(self, name: str, a: str, b: str, ohms: float) -> None:
        a, b = self.node[a], self.node[b]
        self.extra[name] = [
            ("g", a, name, 1.0),
            ("g", b, name, -1.0),
            ("g", name, a, 1.0),
            ("g", name, b, -1.0),
            ("g", name, name, -max(ohms, 1e-3)),
        ]

    def _transformer(self, part: Part) -> None:
        """Windings with their resistance around one core: v = r i + N e, sum of N i = magnetising
        current, L di/dt = e.
        """
        found, henries = windings(
            part,
            self.circuit.mains.hertz if self.circuit.mains else 60.0,
            self.fault,
            self.notes.append,
        )
        self.windings += found
        for one in found:
            self.extra.setdefault(one.core, [("g", one.core, one.core, -1.0)])
            self._winding(one.row, one.a, one.b, one.ohms)
            self.extra[one.row].append(("g", one.row, one.core, -one.turns))
            self.extra[one.core].append(("c", one.core, one.row, henries * one.turns))
            self.coils.append(Coil(part.name, one.row, one.ohms, WINDING_TOLERANCE))

    def _device(self, part: Part, unit: str, law: object, ends: tuple[str, ...], to: str) -> None:
        nodes = [part.node(end) for end in (*ends, to)]
        if None in nodes:
            self.fault(
                part,
                f"{part.name} has nothing on {(*ends, to)[nodes.index(None)]}",
                "connect it, or take the part out",
            )
            return
        points = [self.node[node] for node in nodes]
        self.devices.append((part.name, unit, law, tuple(points[:-1]), points[-1]))

    def _tube(self, part: Part) -> None:
        tube = library.find(part.type)
        if tube is None:
            self.fault(
                part,
                f"{part.type} of {part.name} is not in the tube library, so it has no numbers (the"
                " mains check needs none)",
                "see rework tubes for what is there, or fit a type that is",
            )
            return
        self._heater(part, tube)
        if tube.is_rectifier:
            if self.powered:
                self._rectifiers(part, tube)
            return
        if not self.emission:
            return
        for unit in units_of(tube):

            def pin(element: str, unit=unit) -> str | None:
                found = tube.pins_of(f"{unit}.{element}" if unit else element)
                return next((p for p in found if part.node(p)), None)

            wanted = ("plate", "screen", "grid") if screened(tube, unit) else ("plate", "grid")
            pins = [pin(name) for name in (*wanted, "cathode")]
            if None in pins:
                if pin("plate") is not None:
                    lost = (*wanted, "cathode")[pins.index(None)]
                    self.fault(
                        part,
                        f"{part.name} has nothing on its {lost}{' of ' + unit if unit else ''}",
                        f"connect the {lost}",
                    )
                continue
            try:
                law = self.overrides.get(part.name) or fitted(part.type, unit).law
            except NoData as error:
                self.fault(
                    part,
                    f"{part.name}: {error} (the mains check needs none)",
                    "fit a type with printed rows, see rework tubes",
                )
                continue
            self._device(part, unit, law, tuple(pins[:-1]), pins[-1])
        for name in ("diode1", "diode2", "diode3"):
            anode = next((p for p in tube.pins_of(name) if part.node(p)), None) or next(
                (p for p in tube.pins_of(f"{name}.plate") if part.node(p)), None
            )
            cathode = next(
                (
                    p
                    for p in (*tube.pins_of(f"{name}.cathode"), *tube.pins_of("cathode"))
                    if part.node(p)
                ),
                None,
            )
            if anode and cathode and self.node[part.node(anode)] != self.node[part.node(cathode)]:
                self._device(part, name, small_diode(), (anode,), cathode)

    def _rectifiers(self, part: Part, tube) -> None:
        law = self.overrides.get(part.name) or self._drop(part, tube)
        if law is None:
            return
        pairs = [
            ("", "plate", "cathode"),
            ("1", "plate1", "cathode"),
            ("2", "plate2", "cathode"),
            ("diode1", "diode1.plate", "diode1.cathode"),
            ("diode2", "diode2.plate", "diode2.cathode"),
        ]
        found = False
        for unit, plate, cathode in pairs:
            a, k = (
                next((p for p in tube.pins_of(name) if part.node(p)), None)
                for name in (plate, cathode)
            )
            if a and k and (unit.startswith("diode") or "." not in plate):
                self._device(part, unit, law, (a,), k)
                found = True
        ends = [
            pin
            for _, plate, cathode in pairs
            for name in (plate, cathode)
            for pin in tube.pins_of(name)
            if part.node(pin)
        ]
        if not found and ends:  # with neither, it is left in for its heater alone
            self.fault(part, f"{part.name} has no plate or no cathode connected", "connect both")

    def _drop(self, part: Part, tube) -> laws.Rectifier | None:
        """Return the three-halves law through the drop the file states, or else through the
        library's; a note where that is from memory.
        """
        volts, amps = part.value("voltage", role="drop"), part.value("current")
        if volts is not None and amps is not None:
            if not (0 < volts < 1e3 and 0 < amps < 100):
                self.fault(
                    part,
                    f"{part.name} has an absurd drop ({volts:g} V at {amps:g} A)",
                    "write volts and amps as read, as in drop 18 V 200 mA",
                )
                return None
            self.notes.append(
                f"{part.name}: the drop of the {part.type} is the one the file states, {volts:g} V"
                f" at {amps * 1e3:g} mA"
            )
            return laws.Rectifier(amps / volts**1.5)
        try:
            law = fitted(part.type).law
        except NoData as error:
            self.fault(
                part,
                f"{part.name}: {error} (the mains check needs none)",
                f"state it as read off a sheet or measured, as in {part.name} tube {part.type} drop"
                " 18 V 200 mA; or fit a type whose drop is known",
            )
            return None
        figure = tube.ratings.get("tube_drop_volts")
        if (
            figure is not None
            and figure.grade == "memory"
            and not any(curve.columns == ("drop_volts", "plate_amps") for curve in tube.curves)
        ):
            self.notes.append(
                f"{part.name}: the drop of the {part.type} ({figure.value:g} V) is from memory, no"
                " sheet was seen; B+ hangs on it"
            )
        return law

    def _heater(self, part: Part, tube) -> None:
        """The heater as resistances between its ends and taps: hot, or cold where the tubes are."""
        share = 1.0 if self.powered else 1 / COLD_RATIO
        ohms = tube.heater.volts.value / tube.heater.amps.value * share
        ends = {name: next(iter(tube.pins_of(name)), None) for name in ("heater1", "heater2")}
        tap = next((p for name in ("heater-tap", "lamp-tap") for p in tube.pins_of(name)), None)
        one, other = ends["heater1"], ends["heater2"]
        if one is None or other is None:
            return
        if tap is None:
            self._resistor(
                part, f"{part.name}.heater", part.node(one), part.node(other), ohms, spread=0.0
            )
            return
        part_of = 0.5
        for section in tube.heater.sections:
            if tap in section.between:
                part_of = section.volts.value / tube.heater.volts.value
                if other in section.between:
                    part_of = 1 - part_of
        middle = part.node(tap)
        if middle is None:
            self._resistor(
                part, f"{part.name}.heater", part.node(one), part.node(other), ohms, spread=0.0
            )
        else:
            self._resistor(
                part, f"{part.name}.heater1", part.node(one), middle, ohms * part_of, spread=0.0
            )
            self._resistor(
                part,
                f"{part.name}.heater2",
                middle,
                part.node(other),
                ohms * (1 - part_of),
                spread=0.0,
            )

    def _plug(self, part: Part) -> None:
        line, neutral = part.node("line"), part.node("neutral")
        if line is None or neutral is None or not self.powered:
            return
        if self.node[line] == self.node[neutral]:
            self.fault(
                part,
                f"the two blades of {part.name} are joined by wires: a short across the line",
                "take out the wire that joins them",
            )
            return
        if self.sources and {self.node[line], self.node[neutral]} != set(self.sources[0][1:]):
            self.notes.append(f"{part.name} is fed from the same line as {self.sources[0][0]}")
        name = "line" if not self.sources else f"line.{part.name}"
        self.sources.append((part.name, self.node[line], self.node[neutral]))
        self._winding(name, line, neutral, 1e-3)


#: Hot over cold resistance of a heater: 7 from one source, 4 from another (radiomuseum.org, A.
#: Steinmetz, Heizkreisregelroehren; republished).
COLD_RATIO = 7.0
