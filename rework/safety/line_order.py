"""Fuse and switch in the line conductor, the fuse first, both before the primary.

Order of line conductor, fuse, switch and primary: published conversion practice (instructables.com,
isolation transformer upgrade for old guitar amps, step 11; vintageamps.com forum 111751).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import islice

from rework.anatomy.links import X_CLASSES, Y_CLASSES, closed_contacts, positions
from rework.circuit.edits import Action, CutConductor, FitPart, RemovePart, RunWire
from rework.circuit.kinds import Passes
from rework.circuit.parts import Part, Value
from rework.safety.cord import reconnected
from rework.safety.findings import Caution, Finding, Remedy
from rework.safety.net import CONDUCTS
from rework.safety.protection import fuse_amps_for
from rework.safety.survey import IN_LINE, Survey, listed

_CONDUCTORS = frozenset({"trace", "wire", "shielded cable", "connector", "plug"})
_Passes = Callable[[Part], bool]
#: No more wires than this are tried as one that bridges fuse or switch.
_MOST_BRIDGES = 4
#: A switch that is fitted anew: volts and amperes.
_SWITCH = (Value("voltage", 250.0), Value("current", 3.0))


def line_order(survey: Survey) -> tuple[Finding, ...]:
    """Return cautions about fuse and switch: both in the line conductor, the fuse first, both
    before the primary.
    """
    findings: list[Finding] = []
    for plug in survey.plugs:
        if plug.node("line") is not None:
            findings += _fuse_first(survey, plug)
            findings += _switched(survey, plug)
        if plug.node("neutral") is not None:
            findings += _neutral_conductor(survey, plug)
    return tuple(findings)


def _anything(_: Part) -> bool:
    return True


def _nothing(_: Part) -> bool:
    return False


def _is_plain(part: Part) -> bool:
    return not (part.traits.is_overcurrent or part.traits.is_switch)


def _fuse_first(survey: Survey, plug: Part) -> list[Finding]:
    line = plug.at("line")
    first = _met(survey, line, _is_plain)
    fuses = [part for part in first if part.traits.is_overcurrent]
    early = [
        part
        for part in first
        if part.kind not in _CONDUCTORS | {"fuse", "breaker", "switch"}
        and not (_is_filter(survey, part) or _is_in_series(survey, part))
    ]
    switches = [part for part in first if part.kind == "switch"]
    if early or not (fuses or switches):
        names = listed(part.name for part in early[:4]) if early else "the set"
        message = f"There is no fuse in the line conductor between {plug.name} and {names}."
        remedies = (
            *_bridges(survey, line),
            *_before_a_resistance(survey, plug, early),
            *_new_fuse(survey, plug),
        )
        return [Caution("no-fuse", message, plug.name, "line", line, remedies)]
    if not switches:
        return []
    switch = switches[0]
    behind = _met(survey, line, lambda part: not part.traits.is_overcurrent)
    fuse = next((part for part in behind if part.traits.is_overcurrent), None)
    if fuse is None:
        message = f"Switch {switch.name} is in the line conductor without a fuse ahead of it."
        remedies = _new_fuse(survey, plug)
    else:
        message = f"Switch {switch.name} is ahead of the fuse {fuse.name}."
        remedies = (*_bridges(survey, line), *_exchanged_places(survey, line, switch, fuse))
    return [Caution("fuse-order", message, switch.name, "", line, remedies)]


def _bridges(survey: Survey, line: str) -> Iterator[Remedy]:
    """Yield the taking out of each wire between two lugs of fuses, switches, plug and primaries: it
    may bridge one of them.
    """
    lugs = {
        node
        for part in survey.of_kind("plug", "fuse", "breaker", "switch", "transformer")
        for _, node in part.pins
    }
    reached = _reached(survey, line, _anything)
    wires = (part for part in survey.of_kind("wire", "trace") if len(part.pins) == 2)
    between = (part for part in wires if all(node in lugs & reached.keys() for node in part.ends))
    for part in islice(between, _MOST_BRIDGES):
        verb = "Cut trace" if part.kind == "trace" else "Take out wire"
        words = f"{verb} {part.name}: it joins {part.ends[0]} to {part.ends[1]}."
        yield Remedy(words, (CutConductor(part.name),))


def _before_a_resistance(survey: Survey, plug: Part, early: Sequence[Part]) -> tuple[Remedy, ...]:
    """Return the one part ahead of the fuse, in series with it, and the fuse with their places
    exchanged.
    """
    line = plug.at("line")
    behind = _met(survey, line, lambda part: not part.traits.is_overcurrent)
    fuse = next((part for part in behind if part.traits.is_overcurrent), None)
    first = early[0] if len(early) == 1 else None
    if fuse is None or first is None or len(first.leads) != 2 or len(fuse.leads) != 2:
        return ()
    edits: tuple[Action, ...] = (
        *(RemovePart(part.name) for part in (first, fuse)),
        *(
            FitPart(_relaid(part, dict(zip((pin for pin, _ in part.leads), ends, strict=True))))
            for part, ends in ((fuse, first.ends), (first, fuse.ends))
        ),
    )
    words = (
        f"Exchange {first.name} and {fuse.name}: wire the line to the fuse {fuse.name} first, and"
        f" from there to {first.name}."
    )
    return (Remedy(words, edits),)


def _new_fuse(survey: Survey, plug: Part) -> tuple[Remedy, ...]:
    """Return a fuse put between the line blade and what is wired to it, where its size follows from
    the transformer.
    """
    amps = fuse_amps_for(survey, plug)
    if amps is None:
        return ()
    values = (Value("current", amps), Value("voltage", 250.0))
    name = survey.circuit.free_part_name("F")
    node = survey.circuit.free_node_name(f"{plug.name}-line")
    fuse = Part(
        name, "fuse", values=values, words=("slow",), pins=(("1", node), ("2", plug.at("line")))
    )
    edits = (*reconnected(plug, {"line": node}), FitPart(fuse))
    words = (
        f"Run the line blade of {plug.name} to a new fuse {name}, {amps:g} A slow 250 V, and from"
        f" there to {plug.at('line')}."
    )
    return (Remedy(words, edits),)


def _exchanged_places(survey: Survey, line: str, switch: Part, fuse: Part) -> tuple[Remedy, ...]:
    """Return switch and fuse with their places in the line conductor exchanged."""
    net = survey.net
    ahead = _reached(survey, line, _nothing)
    contacts = [
        net.pins[number]
        for number in sorted(net.moving)
        if net.part[number].name == switch.name and len(net.pins[number]) == 2
    ]
    pole = next((pins for pins in contacts if any(node in ahead for _, node in pins)), None)
    if pole is None or len(fuse.leads) != 2:
        return ()
    nodes = iter(fuse.ends)
    places = dict(zip((terminal for terminal, _ in pole), nodes, strict=True))
    turned = _relaid(switch, places)
    ends = (node for _, node in pole)
    moved = _relaid(fuse, dict(zip((pin for pin, _ in fuse.leads), ends, strict=True)))
    edits = (RemovePart(switch.name), RemovePart(fuse.name), FitPart(moved), FitPart(turned))
    words = (
        f"Exchange {switch.name} and {fuse.name}: wire the line to the fuse {fuse.name} first, and"
        f" from there to {switch.name}."
    )
    return (Remedy(words, edits),)


def _switched(survey: Survey, plug: Part) -> list[Finding]:
    line = plug.at("line")
    users = [
        part
        for part in _met(survey, line, _anything)
        if part.kind not in IN_LINE
        and part.kind != "plug"
        and not (_is_filter(survey, part) or _is_in_series(survey, part))
    ]
    switches = survey.of_kind("switch")
    if not users or any(_is_cut(survey, plug, switch, users) for switch in switches):
        return []
    message = (
        f"No switch in the line conductor turns off {listed(part.name for part in users[:4])}."
    )
    remedies = (*_bridges(survey, line), *_new_switch(survey, line))
    subject = next((part for part in users if part.traits.is_wound), users[0])
    return [Caution("no-switch", message, subject.name, "", line, remedies)]


def _new_switch(survey: Survey, line: str) -> tuple[Remedy, ...]:
    name = survey.circuit.free_part_name("S")
    edits = _behind_fuse(survey, line, Part(name, "switch", values=_SWITCH, words=("SPST",)))
    words = f"Fit a switch {name}, 250 V 3 A, in the line conductor behind the fuse."
    return (Remedy(words, edits),) if edits else ()


def _behind_fuse(survey: Survey, line: str, switch: Part) -> tuple[Action, ...]:
    """Return the edits that put a switch behind the fuse in the line conductor."""
    fuse = next(
        (part for part in _met(survey, line, _is_plain) if part.traits.is_overcurrent), None
    )
    if fuse is None:
        return ()
    ahead = _reached(survey, line, _nothing)
    far = next((pin for pin, node in fuse.leads if node not in ahead), None)
    if far is None:
        return ()
    node = survey.circuit.free_node_name(f"{fuse.name}-out")
    fitted = replace(switch, pins=(("1", node), ("2", fuse.at(far))))
    return (*reconnected(fuse, {far: node}), FitPart(fitted))


def _neutral_conductor(survey: Survey, plug: Part) -> list[Finding]:
    line = (
        {part.name for part in _met(survey, plug.at("line"), _anything)}
        if plug.node("line")
        else set()
    )
    neutral = plug.at("neutral")
    findings: list[Finding] = []
    for part in _met(survey, neutral, _anything):
        if part.traits.is_overcurrent and part.name not in line:
            findings.append(_fuse_in_neutral(survey, plug, part, line))
        elif part.kind == "switch" and not line.intersection(_gang(survey, part)):
            findings.append(
                Caution(
                    "switch-in-neutral",
                    f"Switch {part.name} is in the neutral conductor only: switched off, the whole"
                    " set is still connected to the line.",
                    part.name,
                    "",
                    neutral,
                    _moved_to_line(survey, plug, part),
                )
            )
    return findings


def _fuse_in_neutral(survey: Survey, plug: Part, fuse: Part, line: set[str]) -> Caution:
    fused = any(survey.circuit.by_name[name].traits.is_overcurrent for name in line)
    edits: tuple[Action, ...] = (RemovePart(fuse.name), _link(survey, fuse))
    words = f"Take out {fuse.name} and run the neutral straight to the primary."
    if not fused and plug.node("line"):
        node = survey.circuit.free_node_name(f"{plug.name}-line")
        ahead = replace(fuse, pins=(("1", node), ("2", plug.at("line"))))
        edits = (*edits, *reconnected(plug, {"line": node}), FitPart(ahead))
        words = (
            f"Move {fuse.name} to the line conductor, ahead of all else. Run the neutral straight"
            " to the primary."
        )
    return Caution(
        "fuse-in-neutral",
        f"{fuse.name} is in the neutral conductor: when it blows, the line stays connected.",
        fuse.name,
        "",
        plug.at("neutral"),
        (Remedy(words, edits),) if not fused else (Remedy(words, does="measure"),),
        "mind" if fused else "must",
    )


def _relaid(part: Part, places: Mapping[str, str]) -> Part:
    """Return a part with some of its pins on other nodes."""
    return replace(part, pins=tuple((pin, places.get(pin, node)) for pin, node in part.pins))


def _link(survey: Survey, part: Part) -> RunWire:
    """Return a wire in the place of a part of two pins."""
    name = survey.circuit.free_part_name("W")
    nodes = part.ends
    return RunWire(Part(name, "wire", pins=(("1", nodes[0]), ("2", nodes[-1]))))


def _moved_to_line(survey: Survey, plug: Part, switch: Part) -> tuple[Remedy, ...]:
    if len(switch.leads) != 2 or plug.node("line") is None:
        return ()
    edits = _behind_fuse(survey, plug.at("line"), switch)
    if not edits:
        node = survey.circuit.free_node_name(f"{plug.name}-line")
        fitted = _relaid(switch, {"1": node, "2": plug.at("line")})
        edits = (*reconnected(plug, {"line": node}), FitPart(fitted))
    words = f"Move {switch.name} to the line conductor, behind the fuse, and join the neutral."
    return (Remedy(words, (RemovePart(switch.name), _link(survey, switch), *edits)),)


def _met(survey: Survey, start: str, passes: _Passes, *, without: Iterable[str] = ()) -> list[Part]:
    """Return the parts met from a node through conductors, what is in series with the line, and
    those of fuses, switches and thermistors that are let pass.
    """
    met: dict[str, Part] = {}
    for node in _reached(survey, start, passes, without=without):
        met.update((part.name, part) for part, _ in survey.circuit.at.get(node, ()))
    return list(met.values())


def _reached(
    survey: Survey, start: str, passes: _Passes, *, without: Iterable[str] = ()
) -> dict[str, None]:
    """Return the nodes reached in this way, the nearest first."""
    net, skip = survey.net, frozenset(without)
    reached: dict[str, None] = {start: None}
    line = [start]
    while line:
        for number in net.at.get(line.pop(0), ()):
            part = net.part[number]
            leads = net.is_conductor(number) or (
                part.kind in ("fuse", "breaker", "switch", "thermistor")
                and not net.is_insulation(number)
            )
            passed = leads and (part.kind in _CONDUCTORS or passes(part))
            passed = passed or (net.how[number] == CONDUCTS and _is_in_series(survey, part))
            if passed and part.name not in skip:
                for _, other in net.pins[number]:
                    if other not in reached:
                        reached[other] = None
                        line.append(other)
    return reached


def _gang(survey: Survey, switch: Part) -> set[str]:
    return {
        name for axis in survey.heat.tried.axes if switch.name in axis.names for name in axis.names
    } | {switch.name}


def _is_cut(survey: Survey, plug: Part, switch: Part, users: list[Part]) -> bool:
    """Return whether a switch has a position that parts everything it feeds from the line blade."""
    gang = _gang(survey, switch)
    if any(
        closed_contacts(survey.circuit.by_name[name], positions(survey.circuit.by_name[name])[0])
        for name in gang
    ):
        return False
    met = {part.name for part in _met(survey, plug.at("line"), _anything, without=gang)}
    return not any(part.name in met for part in users)


def _is_in_series(survey: Survey, part: Part) -> bool:
    """Return whether a part may be anywhere in the line conductors, in series with what they feed:
    a line filter, a choke of one, or the lamp of a limiter.
    """
    if part.kind == "choke":
        return all(survey.primary.belongs(part, terminal, node) for terminal, node in part.leads)
    mains, volts = survey.circuit.mains, part.value("voltage")
    if part.kind == "lamp" and mains is not None and volts and 2 * volts >= mains.volts:
        on_line = [node in survey.primary.line for node in part.ends]
        return any(on_line) and not all(on_line)
    return part.traits.passes is Passes.FILTER


def _is_filter(survey: Survey, part: Part) -> bool:
    """Return whether a part is a suppressor, a bleeder or a pilot lamp on the line, which may be
    ahead of fuse and switch.
    """
    if part.kind == "capacitor":
        return part.setting("class") in X_CLASSES | Y_CLASSES
    return part.kind in ("resistor", "lamp") and all(
        survey.primary.belongs(part, terminal, node) for terminal, node in part.pins
    )
