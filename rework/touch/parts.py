"""What each part is to a current at line frequency, in every condition it may be in.

Unknown means worst: a part without its value is tried as a short and as open, and the report names
it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import chain, pairwise

from rework.anatomy.defaults import SPEAKER_OHMS, choke_henries, choke_ohms, motor
from rework.anatomy.links import closed_contacts, groups, positions
from rework.circuit.kinds import KINDS, METALWORK, Law
from rework.circuit.parts import Part, strands
from rework.circuit.taps import track
from rework.touch import assemblies
from rework.touch.builder import LEAST_OHMS, Builder, slack
from rework.touch.electrodes import tube
from rework.touch.element import EitherWay, Element, Variant
from rework.touch.windings import wound

#: The node of the earth at the service, to which the neutral is joined.
EARTH = "(earth)"


def elements_of(build: Builder, part: Part) -> Iterator[Element]:
    """Return the elements of one part; those with both ends on one node are left out."""
    kind = KINDS.get(part.kind)
    law = _by_groups if kind is None else _LAWS.get(kind.law, _by_groups)
    metal = () if part.traits.is_wound else _metal(build, part)
    return (
        element
        for element in chain(metal, law(build, part))
        if element.nodes[0] != element.nodes[1] or len(element.nodes) > 2
    )


def _nothing(_build: Builder, _part: Part) -> Iterator[Element]:
    """Return no element: the part passes no current by itself."""
    yield from ()


def _blades(build: Builder, part: Part) -> Iterator[Element]:
    """Return the conductors that feed a plug, back to the service."""
    for terminal, node in part.pins:
        if terminal == "earth":
            yield Element(
                part.name,
                f"earth conductor at {part.name}",
                (node, EARTH),
                1 / build.assumed["earth_ohm"],
                gate=("earth", part.name),
                kind="earth",
            )
        else:
            # Hot or neutral, it ends at the source, whose other end is earthed: in series with the
            # feed.
            yield Element(
                part.name,
                f"{part.name}.{terminal} to the outlet",
                (node, EARTH),
                1 / build.assumed["line_ohm"],
                gate=("blade", part.name, terminal),
                kind="blade",
            )


def _jack(build: Builder, part: Part) -> Iterator[Element]:
    """Return the contact that a plug opens, closed."""
    bound = [terminal for terminal, _ in part.pins if terminal in ("tip", "break")]
    for first, second in pairwise(bound):
        yield build.pair(part, first, second, 1 / build.assumed["conductor_ohm"])


def _conductor(build: Builder, part: Part) -> Iterator[Element]:
    siemens = 1 / build.assumed["conductor_ohm"]
    runs = (
        strands(part)
        if part.kind == "shielded cable"
        else (tuple(terminal for terminal, _ in part.pins),)
    )
    for run in runs:
        for first, second in pairwise(run):
            yield build.pair(
                part, first, second, siemens, part.name if len(runs) == 1 else "", kind="conductor"
            )


def _by_groups(build: Builder, part: Part) -> Iterator[Element]:
    """Return a path between all terminals of every group, for unknown kinds: fail closed."""
    for group in groups(part):
        if group.how != "isolated":
            for first, second in pairwise(group.terminals):
                yield build.not_written(build.pair(part, first, second), "model")


def _metal(build: Builder, part: Part) -> Iterator[Element]:
    inside = [terminal for terminal, _ in part.pins if terminal not in METALWORK]
    for terminal, _ in part.pins:
        if (
            terminal in METALWORK
            and inside
            and not (terminal == "shaft" and "plastic-shaft" in part.words)
        ):
            yield build.insulated(part, inside[0], part, terminal)


def _resistive(build: Builder, part: Part) -> Iterator[Element]:
    inside = [terminal for terminal, _ in part.pins if terminal not in METALWORK]
    if len(inside) < 2:
        return
    hot, cold = _hot_and_cold(build, part)
    for first, second in pairwise(inside):
        name = part.name if len(inside) == 2 else ""
        if _is_neon(part):  # dark, or lit: its resistor alone limits what it passes
            path = build.pair(part, first, second, name=name)
            axis = EitherWay("conducts", part.name)
            yield build.maybe(path, axis, ohms=build.assumed["short_ohm"])
        elif hot is None and (usual := _usual_load(build, part)):
            yield build.as_usual(part, first, second, name, *usual)
        elif hot is None:
            yield build.not_written(build.pair(part, first, second, name=name), "resistance")
        elif part.kind in ("resistor", "speaker", "dummy load"):
            siemens, missing = build.low(part, hot)
            yield build.pair(part, first, second, siemens, name, slack=missing)
        else:
            yield build.pair(
                part,
                first,
                second,
                1 / max(hot, LEAST_OHMS),
                name,
                cold=0.0 if cold == hot else 1 / max(cold, LEAST_OHMS),
            )


def _usual_load(build: Builder, part: Part) -> tuple[float, float] | None:
    """Return the ohms and henries that a speaker or motor usually has; None for other parts."""
    if part.kind == "speaker":
        return SPEAKER_OHMS, 0.0
    mains = build.circuit.mains
    if part.kind != "motor" or mains is None:
        return None
    amps, watts = part.value("current"), part.value("power")
    return motor(part.value("voltage") or mains.volts, amps, watts, None, mains.hertz)


def _is_neon(part: Part) -> bool:
    return part.kind == "lamp" and "neon" in part.words


def _hot_and_cold(build: Builder, part: Part) -> tuple[float | None, float]:
    """Return the resistance of a two-terminal part hot and cold, or None where nothing written
    gives it.
    """
    if part.kind == "thermistor":
        hot, cold = (part.value("resistance", role=role) for role in ("hot", "cold"))
        known = [value for value in (hot, cold, part.value("resistance")) if value]
        return (hot or min(known), cold or min(known)) if known else (None, 0.0)
    ohms = part.value("resistance")
    volts, amps, watts = part.value("voltage"), part.value("current"), part.value("power")
    if ohms is None and part.kind in ("lamp", "motor") and volts:
        ohms = volts / amps if amps else volts * volts / watts if watts else None
    if ohms is None:
        return None, 0.0
    return ohms, ohms / build.assumed["cold_ratio"] if part.kind == "lamp" else ohms


def _fuse(build: Builder, part: Part) -> Iterator[Element]:
    yield build.pair(part, "1", "2", 1 / build.assumed["fuse_ohm"], part.name, kind="fuse")


def _pot(build: Builder, part: Part) -> Iterator[Element]:
    turn = part.value("fraction", role="at") if part.name in build.held else None
    if part.node("wiper") is None or turn is not None:
        for piece in track(part, turn or 0.0):
            yield _track(build, part, piece.first, piece.second, piece.share)
        return
    for position, end in enumerate(("ccw", "cw")):
        if part.node(end) is not None:
            path = _track(build, part, end, "wiper")
            build.variants.append(
                Variant(
                    EitherWay("pot", part.name),
                    position,
                    part.name,
                    path.name,
                    path.ends,
                    1 / build.assumed["conductor_ohm"],
                )
            )
            yield path
    yield from _from_the_tap(build, part)


def _from_the_tap(build: Builder, part: Part) -> Iterator[Element]:
    """Yield the track from a tap to its ends, which beside the wiper's passes more than there is
    and never less, and the wiper at the tap.
    """
    if part.node("tap") is None:
        return
    for piece in track(part, 0.0):
        ends = {piece.first, piece.second} - {"tap"}
        if len(ends) == 1:
            end = "ccw" if ends == {"wiper"} else ends.pop()
            if part.node(end) is not None:
                yield _track(build, part, end, "tap", piece.share)
    yield build.maybe(
        build.pair(part, "tap", "wiper"),
        EitherWay("tap", part.name),
        ohms=build.assumed["conductor_ohm"],
    )


def _track(build: Builder, part: Part, first: str, second: str, share: float = 1.0) -> Element:
    """Return a ``share`` of the track of a pot between two terminals; the whole of it where its
    wiper is tried at either end.
    """
    if not share:
        return build.pair(part, first, second, 1 / build.assumed["conductor_ohm"])
    ohms = part.value("resistance")
    if ohms is None:
        return build.not_written(build.pair(part, first, second), "resistance")
    siemens, missing = build.low(part, ohms * share)
    return build.pair(part, first, second, siemens, slack=missing)


def _capacitor(build: Builder, part: Part) -> Iterator[Element]:
    bound = [terminal for terminal, _ in part.pins if terminal not in METALWORK]
    if len(bound) < 2:
        return
    first, second = bound
    farads, tolerance = part.value("capacitance"), build.tolerance(part)
    if farads is None:
        yield build.not_written(
            build.pair(part, first, second, name=part.name, kind="capacitor"), "capacitance"
        )
        return
    farads *= 1 + tolerance
    age = (
        "electrolytic"
        if part.kind == "electrolytic"
        else "paper"
        if "paper" in part.words
        else "film"
    )
    yield build.pair(
        part,
        first,
        second,
        farads / build.assumed[f"{age}_leak_second"],
        part.name,
        farads=farads,
        kind="capacitor",
        slack=slack(tolerance),
    )


def _choke(build: Builder, part: Part) -> Iterator[Element]:
    ohms, henries = part.value("resistance"), part.value("inductance")
    if ohms is None:
        amps, field = part.value("current"), "field-coil" in part.words
        ohms = choke_ohms(henries or choke_henries(None, amps, field=field), amps)
        yield build.as_usual(part, "1", "2", part.name, ohms, henries or 0.0)
    else:
        siemens, missing = build.low(part, ohms)
        yield build.pair(part, "1", "2", siemens, part.name, henries=henries or 0.0, slack=missing)


def _rectifier(build: Builder, part: Part) -> Iterator[Element]:
    pairs = KINDS[part.kind].junctions
    for anode, cathode in pairs:
        if part.node(anode) is not None and part.node(cathode) is not None:
            name = part.name if len(pairs) == 1 else f"{part.name} {anode}-{cathode}"
            yield build.maybe(
                build.pair(
                    part,
                    anode,
                    cathode,
                    name=name,
                    farads=build.assumed["junction_farad"],
                    rectifies=True,
                    kind="rectifier",
                ),
                EitherWay("conducts", name),
            )


def _pickup(build: Builder, part: Part) -> Iterator[Element]:
    if len(part.pins) < 2:
        return
    ohms, farads = part.value("resistance"), part.value("capacitance")
    if ohms is None and farads is None:
        yield build.maybe(
            build.pair(part, "signal", "shield", name=part.name), EitherWay("conducts", part.name)
        )
        return
    siemens, missing = build.low(part, ohms) if ohms else (0.0, 0.0)
    yield build.pair(
        part, "signal", "shield", siemens, part.name, farads=farads or 0.0, slack=missing
    )


def _switch(build: Builder, part: Part) -> Iterator[Element]:
    closed: dict[tuple[str, str], list[str]] = {}
    for position in positions(part):
        for contacts in closed_contacts(part, position):
            for pair in pairwise(contacts):
                closed.setdefault(pair, []).append(position)
    for (first, second), where in closed.items():
        yield build.pair(
            part,
            first,
            second,
            1 / build.assumed["conductor_ohm"],
            gate=("switch", part.name, *where),
            kind="switch",
        )
    pot = build.circuit.by_name.get(part.setting("on"))
    if (
        part.pins
        and pot is not None
        and pot.kind == "pot"
        and "plastic-shaft" not in pot.words
        and pot.node("shaft")
        and part.pins
    ):
        yield build.insulated(part, part.pins[0][0], pot, "shaft")


def _relay(build: Builder, part: Part) -> Iterator[Element]:
    yield from _switch(build, part)
    yield from assemblies.coil(build, part)


_Elements = Callable[[Builder, Part], Iterator[Element]]
_LAWS: dict[Law, _Elements] = {
    Law.CONDUCTOR: _conductor,
    Law.POLES: _switch,
    Law.LINK: _fuse,
    Law.BREAK_CONTACT: _jack,
    Law.MATED_CONTACTS: _nothing,
    Law.BLADES: _blades,
    Law.EARTH: _nothing,
    Law.RESISTANCE: _resistive,
    Law.THERMISTOR: _resistive,
    Law.TRACK: _pot,
    Law.LAMP: _resistive,
    Law.MOTOR: _resistive,
    Law.SIGNAL_SOURCE: _pickup,
    Law.CAPACITANCE: _capacitor,
    Law.COIL: _choke,
    Law.WINDINGS: wound,
    Law.JUNCTION: _rectifier,
    Law.TUBE: tube,
    Law.RELAY: _relay,
    Law.SIDES: assemblies.sides,
    Law.FILTER: assemblies.line_filter,
    Law.VARISTOR: assemblies.gap,
    Law.INDICATOR: assemblies.gap,
    Law.HOLDS_VOLTS: assemblies.gap,
    Law.BATTERY: assemblies.battery,
    Law.NOT_COMPUTED: _by_groups,
    Law.NOTHING: _nothing,
}
