"""What a finished conversion wants of plug, fuse, switch and earth.

Order of line conductor, fuse, switch and primary, and the earth on its own screw and never through
a switch: published conversion practice (instructables.com, isolation transformer upgrade for old
guitar amps, step 11; vintageamps.com forum 111751). No switch or fuse in the earth conductor: IEC
60950-1 as told by a power-supply maker's tutorial (digikey.cn, CUI, slide 7). Y capacitors to
earth: EMI-suppressor guide, studylib.net 18667623.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from rework.anatomy.links import METALWORK, X_CLASSES, Y_CLASSES, closed_contacts, positions
from rework.circuit.graph import Merged
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part
from rework.safety.findings import Caution, Finding
from rework.safety.net import State
from rework.safety.survey import IN_LINE, Survey, listed

_CONDUCTORS = frozenset({"trace", "wire", "shielded cable", "connector", "plug"})
#: Terminals that are metal a hand meets, and the kind of part they belong to where that matters.
_METAL = METALWORK | {"metal", "sleeve"}
_WITH_METAL = tuple(
    name for name, kind in KINDS.items() if _METAL.intersection((*kind.terminals, *kind.optional))
)


def plug_and_earth(survey: Survey) -> tuple[Finding, ...]:
    """Return cautions for plugs without an earth, and for touchable metal that conductors do not
    bond to it.
    """
    found: list[Finding] = []
    for plug in survey.plugs:
        if plug.node("earth") is None:
            found.append(
                Caution(
                    f"{plug.name} has no earth pin in use, so no metal can be earthed.",
                    plug.name,
                    "earth",
                    "",
                    "Fit a three-pin plug and bond the chassis to its earth by a conductor (rule"
                    " bond-chassis).",
                )
            )
    if any(plug.node("earth") for plug in survey.plugs):
        for node, part, terminal in _metal(survey):
            if node not in survey.ties.earthed:
                found.append(_not_bonded(survey, node, part, terminal))
    return tuple(found)


def _metal(survey: Survey) -> list[tuple[str, Part, str]]:
    """Return touchable metal, a node once: chassis, cores, frames, metal shafts, sleeves, and what
    the file says can be touched.
    """
    signal = {
        node
        for part in survey.circuit.parts
        if part.kind in ("jack", "speaker", "pickup", "microphone")
        for terminal, node in part.pins
        if terminal not in _METAL
    }
    found: dict[str, tuple[str, Part, str]] = {}
    for part in survey.of_kind(*_WITH_METAL):
        for terminal, node in part.pins:
            if terminal in _METAL and not (terminal == "shaft" and "plastic-shaft" in part.words):
                found.setdefault(node, (node, part, terminal))
    for node in survey.circuit.touchable:
        if node in survey.circuit.at and node not in signal:
            found[node] = (node, *survey.circuit.at[node][0])
    return [found[node] for node in sorted(found)]


def _not_bonded(survey: Survey, node: str, part: Part, terminal: str) -> Caution:
    pin = survey.pin(part, terminal)
    if part.kind == "jack" and {"speaker", "output"} & set(part.words):
        return Caution(
            f"{node} ({pin}) can be touched and is not bonded to earth; only the output"
            " transformer's insulation keeps B+ from it.",
            part.name,
            terminal,
            node,
            f"Bond one side of the output secondary to the chassis, at {pin}.",
            "mind",
        )
    return Caution(
        f"{node} ({pin}) is metal in reach of a hand and no conductor bonds it to the earth of the"
        " plug.",
        part.name,
        terminal,
        node,
        f"Run a wire from {node} to the chassis screw where the earth comes in (rule"
        " bond-chassis).",
    )


def earth_through_umbilical(survey: Survey) -> tuple[Finding, ...]:
    """Return cautions where metal loses its earth with an umbilical pulled; it must not while the
    line is still beside it.
    """
    if not survey.ties.earthed:
        return ()
    found: list[Finding] = []
    for one, other in survey.mated:
        state = State(connectors=((one, "pulled"),))
        still, ties = survey.earthed_pulled(state), survey.ties_pulled(state)
        lost = [
            (node, part, terminal)
            for node, part, terminal in _metal(survey)
            if node in survey.ties.earthed and node not in still
        ]
        if not lost:
            continue
        names = listed(node for node, _, _ in lost)
        near = _line_beside(
            survey, lost, (node for node in ties.tied if node not in survey.ties.earthed)
        )
        if near:
            kept = [
                node
                for node, _, _ in _metal(survey)
                if node in still and _shares_case(survey, node, lost[0][0])
            ]
            remedy = (
                f"Bond {names} to {kept[0]}, which keeps its earth (rule bond-common)."
                if kept
                else (
                    f"Bring an earth beside the line to {listed(near)} that does not pass through"
                    f" {one}, and bond {names} to it."
                )
            )
            found.append(
                Caution(
                    f"With {one} pulled, there is no earth at {names} while the line is still at"
                    f" {listed(near)}.",
                    one,
                    "",
                    lost[0][0],
                    remedy,
                )
            )
        else:
            found.append(
                Caution(
                    f"With {one} pulled, there is no earth at {names}.",
                    one,
                    "",
                    lost[0][0],
                    "Let the earth contact of this connector part last, and bring no line to that"
                    " chassis by another way.",
                    "mind",
                )
            )
        if any(
            node in survey.ties.tied and node not in survey.ties.earthed
            for node in _contacts(survey, one)
        ):
            found.append(
                Caution(
                    f"{one} carries both the line and the earth of {names}.",
                    one,
                    "",
                    lost[0][0],
                    "Use a connector whose earth contact parts last.",
                    "mind",
                )
            )
    return tuple(found)


def _contacts(survey: Survey, name: str) -> tuple[str, ...]:
    return tuple(node for _, node in survey.circuit.by_name[name].pins)


def _line_beside(
    survey: Survey, lost: list[tuple[str, Part, str]], tied: Iterable[str]
) -> list[str]:
    """Return the parts with line on them that sit in the same case as metal without earth.

    Which case a part is in the netlist does not say. Where circuits were attached, what comes from
    one file is one case. Else parts belong together that anything but a shielded cable or a
    connector joins, or of which one sits on the other.
    """
    box = _boxes(survey)
    mine = {
        box[part.name]
        for node, _, _ in lost
        for part, _ in survey.circuit.at[node]
        if not _leads(part)
    }
    near = {
        part.name: None
        for node in tied
        for part, _ in survey.circuit.at.get(node, ())
        if not _leads(part) and box[part.name] in mine
    }
    return sorted(near)


def _shares_case(survey: Survey, one: str, other: str) -> bool:
    box = _boxes(survey)
    cases = [
        {box[part.name] for part, _ in survey.circuit.at[node] if not _leads(part)}
        for node in (one, other)
    ]
    return bool(cases[0] & cases[1])


def _leads(part: Part) -> bool:
    return part.kind in ("trace", "wire", "shielded cable", "connector", "earth")


def _boxes(survey: Survey) -> dict[str, str]:
    """Return every part with the case it is taken to be in: the name it was attached under, else
    what it hangs together with.
    """
    merged = Merged()
    attached = any("/" in part.name for part in survey.circuit.parts)
    for part in survey.circuit.parts:
        prefix = part.name.rpartition("/")[0]
        if attached:
            merged.join(f"case {prefix}", f"part {part.name}")
        elif part.kind not in ("shielded cable", "connector", "earth"):
            for _, node in part.pins:
                merged.join(f"part {part.name}", f"node {node}")
        if part.setting("on"):
            merged.join(f"part {part.name}", f"part {part.setting('on')}")
    return {part.name: merged.find(f"part {part.name}") for part in survey.circuit.parts}


def line_order(survey: Survey) -> tuple[Finding, ...]:
    """Return cautions about fuse and switch: both in the line conductor, the fuse first, both
    before the primary.
    """
    found: list[Finding] = []
    for plug in survey.plugs:
        if plug.node("line") is not None:
            found += _line_conductor(survey, plug)
        if plug.node("neutral") is not None:
            found += _neutral_conductor(survey, plug)
    return tuple(found)


def _line_conductor(survey: Survey, plug: Part) -> list[Finding]:
    before_fuse = _met(survey, plug.node("line"), lambda part: part.kind not in ("fuse", "switch"))
    fuses = [part for part in before_fuse if part.kind == "fuse"]
    early = [
        part
        for part in before_fuse
        if part.kind not in _CONDUCTORS | {"fuse", "switch"} and not _is_suppressor(part)
    ]
    late = [part for part in before_fuse if part.kind == "switch"]
    found: list[Finding] = []
    if early or not (fuses or late):
        names = f" at {listed(part.name for part in early[:4])}" if early else ""
        found.append(
            Caution(
                f"No fuse stands in the line conductor between {plug.name} and what it"
                f" feeds{names}.",
                plug.name,
                "line",
                plug.node("line"),
                f"Run the line from {plug.name} to a fuse first, then to the switch, then to the"
                " primary.",
            )
        )
    elif late:
        found.append(
            Caution(
                f"{late[0].name} stands between {plug.name} and the fuse, or without one.",
                late[0].name,
                "",
                plug.node("line"),
                f"Put the fuse first: from the line blade of {plug.name} to the fuse, from there to"
                f" {late[0].name}.",
            )
        )
    users = [
        part
        for part in _met(survey, plug.node("line"), lambda part: True)
        if part.kind not in IN_LINE and part.kind != "plug" and not _is_suppressor(part)
    ]
    if users and not any(
        _is_cut(survey, plug, switch, users) for switch in survey.of_kind("switch")
    ):
        found.append(
            Caution(
                "No switch in the line conductor turns off"
                f" {listed(part.name for part in users[:4])}.",
                users[0].name,
                "",
                plug.node("line"),
                "Put the switch behind the fuse in the line conductor, before the primary.",
            )
        )
    return found


def _neutral_conductor(survey: Survey, plug: Part) -> list[Finding]:
    line = (
        {part.name for part in _met(survey, plug.node("line"), lambda part: True)}
        if plug.node("line")
        else set()
    )
    found: list[Finding] = []
    for part in _met(survey, plug.node("neutral"), lambda part: True):
        if part.kind == "fuse" and part.name not in line:
            fused = any(survey.circuit.by_name[name].kind == "fuse" for name in line)
            found.append(
                Caution(
                    f"{part.name} stands in the neutral conductor: when it blows, the line stays"
                    " connected.",
                    part.name,
                    "",
                    plug.node("neutral"),
                    "Run the neutral straight to the"
                    f" primary{'' if fused else f' and put {part.name} in the line conductor'}.",
                    "mind" if fused else "must",
                )
            )
        elif part.kind == "switch" and not line.intersection(_gang(survey, part)):
            found.append(
                Caution(
                    f"{part.name} stands in the neutral conductor only: switched off, all of the"
                    " set hangs on the line.",
                    part.name,
                    "",
                    plug.node("neutral"),
                    f"Move {part.name} to the line conductor behind the fuse, or use a switch that"
                    " opens both.",
                )
            )
    return found


def _met(
    survey: Survey, start: str, passes: Callable[[Part], bool], *, without: Iterable[str] = ()
) -> list[Part]:
    """Return the parts met from a node through conductors and those of fuses, switches and
    thermistors that are let pass.
    """
    net, skip = survey.net, frozenset(without)
    reached, line, met = {start: None}, [start], {}
    while line:
        node = line.pop(0)
        met.update((part.name, part) for part, _ in survey.circuit.at.get(node, ()))
        for number in net.at.get(node, ()):
            part = net.part[number]
            leads = net.is_conductor(number) or (
                part.kind in ("fuse", "switch", "thermistor") and not net.is_insulation(number)
            )
            if leads and part.name not in skip and (part.kind in _CONDUCTORS or passes(part)):
                for _, other in net.pins[number]:
                    if other not in reached:
                        reached[other] = None
                        line.append(other)
    return list(met.values())


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
    met = {part.name for part in _met(survey, plug.node("line"), lambda part: True, without=gang)}
    return not any(part.name in met for part in users)


def _is_suppressor(part: Part) -> bool:
    return part.kind == "capacitor" and part.setting("class") in X_CLASSES | Y_CLASSES


def line_capacitors(survey: Survey) -> tuple[Finding, ...]:
    """Return a caution for every capacitor of class Y between a live conductor and earthed metal,
    and every one not of class Y.
    """
    found: list[Finding] = []
    for part in survey.of_kind("capacitor", "electrolytic"):
        nodes = [node for _, node in part.pins]
        live = [
            node for node in nodes if node in survey.ties.tied and node not in survey.ties.earthed
        ]
        earthed = [node for node in nodes if node in survey.ties.earthed]
        if not live or not earthed:
            continue
        class_ = part.setting("class")
        if class_ in Y_CLASSES:
            found.append(
                Caution(
                    f"{part.name}, class {class_}, leads from the line to {earthed[0]}; should the"
                    " earth open, its current goes through whoever touches the metal.",
                    part.name,
                    "",
                    earthed[0],
                    "Measure the touch current with the earth lifted, plug both ways round, switch"
                    " on and off.",
                    "mind",
                )
            )
        else:
            said = f"of class {class_}" if class_ else "of no stated class"
            found.append(
                Caution(
                    f"{part.name} leads from the line to {earthed[0]} and is {said}.",
                    part.name,
                    "",
                    earthed[0],
                    f"Take {part.name} out, or put one of class Y2 there.",
                )
            )
    return tuple(found)
