"""Which tied nodes are only live and which are hazards, what ties them, and what would break it."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from itertools import pairwise

from rework.anatomy.links import METALWORK
from rework.circuit.parts import Part
from rework.safety.findings import Finding, Hazard, Live
from rework.safety.survey import IN_LINE, Survey, listed
from rework.safety.ties import Step

#: More parts than this on one node, or between a node and the line, are counted and not all named
#: in a sentence.
_MOST_NAMED = 6
#: Parts that join the line to the chassis or the common on purpose.
_BRIDGES = frozenset({"capacitor", "electrolytic", "resistor"})
#: Parts of the signal side: where the way goes on through one of these, the line has already come
#: in before it.
_SIGNAL = frozenset(
    {
        "resistor",
        "capacitor",
        "pot",
        "output transformer",
        "speaker",
        "pickup",
        "microphone",
        "jack",
        "dummy load",
    }
)


def tied_nodes(survey: Survey) -> tuple[Finding, ...]:
    """Return every tied node as a hazard (within reach, or with more than primary-side parts on it)
    or as live.
    """
    exposed = dict(exposed_contacts(survey))
    bridges = _bridges(survey)
    found: list[Finding] = []
    for node in sorted(survey.ties.tied):
        parts = tuple(
            f"{part.name}.{terminal}" for part, terminal in survey.circuit.at.get(node, ())
        )
        if is_hazard(survey, node):
            path, across = survey.ties.path(node), bridges.get(survey.point[node], ())
            sentence, rule = remedy(survey, node, path, across, survey.strangers(node))
            found.append(
                Hazard(
                    node,
                    parts,
                    node in survey.circuit.within_reach,
                    survey.ties.tied[node],
                    path,
                    survey.heat.when(node),
                    sentence,
                    across,
                    rule,
                )
            )
        elif node in exposed:
            found.append(exposed[node])
        else:
            found.append(Live(node, parts, _where(survey, node)))
    return tuple(found)


def is_hazard(survey: Survey, node: str) -> bool:
    """Return whether a tied node is in reach of a hand, or carries a part that has no business on
    the mains.
    """
    return node in survey.circuit.within_reach or bool(survey.strangers(node))


def exposed_contacts(survey: Survey) -> Iterator[tuple[str, Hazard]]:
    """Return hazards for the contacts of connector halves that can be touched while tied to the
    mains.

    The contacts of a half that is not said to be a socket count as bare pins. A half with a mate is
    judged pulled; one without a mate in the netlist, as it stands.
    """
    mate_of = {name: pair for pair in survey.mated for name in pair}
    for part in survey.of_kind("connector"):
        if "socket" in part.words:
            continue
        pair = mate_of.get(part.name)
        states = [
            state
            for state in survey.pulled_states
            if pair and dict(state.connectors)[pair[0]] == "pulled"
        ]
        told = set()
        for ties in [survey.ties_pulled(state) for state in states] if pair else [survey.ties]:
            for terminal, node in part.pins:
                if node in ties.tied and node not in told:
                    told.add(node)
                    yield (
                        node,
                        _bare_pin(survey, part, terminal, node, ties, pair[0] if pair else ""),
                    )


def _bare_pin(survey: Survey, part: Part, terminal: str, node: str, ties, umbilical: str) -> Hazard:
    parts = tuple(f"{other.name}.{at}" for other, at in survey.circuit.at[node])
    pulled = (
        f" while {part.name} is pulled"
        if umbilical
        else ", and no other half of it is in the netlist"
    )
    unsaid = (
        ""
        if "plug" in part.words
        else f" ({part.name} is not said to be a socket, so its contacts count as bare)"
    )
    sentence = (
        f"Contact {terminal} of {part.name} can be touched and is tied to the"
        f" mains{pulled}{unsaid}: let the side that carries the line be the socket, or take the"
        " line off this connector."
    )
    return Hazard(
        node,
        parts,
        True,
        ties.tied[node],
        ties.path(node),
        survey.heat.when(node, pulled=umbilical),
        sentence,
    )


def _where(survey: Survey, node: str) -> str:
    pins = [
        survey.pin(part, terminal)
        for part, terminal in survey.circuit.at.get(node, ())
        if not part.is_conductor
    ]
    pins = pins or [
        survey.pin(part, terminal) for part, terminal in survey.circuit.at.get(node, ())
    ]
    return "at " + listed(_cut(pins))


def _cut(names: list[str]) -> list[str]:
    return (
        names
        if len(names) <= _MOST_NAMED
        else [*names[: _MOST_NAMED - 1], f"{len(names) - _MOST_NAMED + 1} more"]
    )


def line_conductors(survey: Survey) -> frozenset[str]:
    """Return the nodes that fuses, thermistors, back-bias resistors, closed contacts and conductors
    join to a blade.
    """
    net = survey.net

    def leads(number: int) -> bool:
        return (
            net.is_closed(number)
            or net.part[number].kind == "thermistor"
            or "back-bias" in net.part[number].words
        )

    return frozenset(net.reach(survey.ties.blades, leads))


def _bridges(survey: Survey) -> dict[str, tuple[str, ...]]:
    """Return, for every point off the line conductors, the parts that by themselves join it to one
    of them.
    """
    net, line, found = survey.net, line_conductors(survey), {}
    for number in sorted({number for node in line for number in net.at.get(node, ())}):
        if net.is_closed(number) or net.is_insulation(number):
            continue
        for _, node in net.pins[number]:
            if (
                node not in line
                and node in survey.ties.tied
                and not (number in net.held and node in survey.always_earthed)
            ):
                found.setdefault(survey.point[node], {})[net.part[number].name] = None
    return {point: tuple(names) for point, names in found.items()}


def remedy(
    survey: Survey,
    node: str,
    path: tuple[Step, ...],
    bridges: tuple[str, ...],
    strangers: tuple[tuple[Part, str], ...],
) -> tuple[str, str]:
    """Return a sentence that says what would break the tie, and the name of a rule that does it (or
    an empty string).
    """
    by_name = survey.circuit.by_name
    crossed = [(by_name[step.part], step) for step in path[1:]]
    reached = node in survey.circuit.within_reach
    across = [by_name[name] for name in bridges]
    if reached and across and all(part.kind in _BRIDGES for part in across):
        names = listed(_cut(list(bridges)))
        verb = (
            "which joins"
            if len(across) == 1
            else "which all join"
            if len(across) > 2
            else "which both join"
        )
        return _ruled(f"Take out {names}, {verb} {node} to the line", "open-line-to-chassis")
    first = next(
        (
            (part, step)
            for part, step in crossed
            if step.out_of in METALWORK
            or (part.kind not in IN_LINE and not _stays_inside(part, step))
        ),
        None,
    )
    if first is None:
        if reached:
            return _released(path, node, "")
        return _break(survey, *strangers[0], node) if strangers else _released(path, node, "")
    part, step = first
    before = next(one.node for one, other in pairwise(path) if other is step)
    if part.kind in _SIGNAL and not _is_supply(part) and step.out_of not in METALWORK:
        return _released(
            path[: path.index(step)],
            before,
            "" if before == node else f", and {node} hangs on it through {part.name}",
        )
    return _break(survey, part, step.out_of if step.out_of in METALWORK else step.into, node)


def _released(path: tuple[Step, ...], node: str, more: str) -> tuple[str, str]:
    ways = listed(_cut(list(dict.fromkeys(step.part for step in path[1:]))))
    by = f" by {ways}" if ways else ""
    return _ruled(
        f"Release the line: {node} is joined to the {path[0].out_of} blade of"
        f" {path[0].part}{by}{more}",
        "release-line-cord",
    )


def _is_supply(part: Part) -> bool:
    return part.kind == "resistor" and bool(
        {"surge", "dropper", "ballast", "line-cord"}.intersection(part.words)
    )


def _stays_inside(part: Part, step: Step) -> bool:
    """Return whether a step goes along one winding of a transformer or a motor, across no
    insulation.
    """
    return part.kind == "motor" or (
        part.kind == "transformer" and step.into.split(".")[0] == step.out_of.split(".")[0]
    )


def _ruled(sentence: str, rule: str) -> tuple[str, str]:
    return f"{sentence} (rule {rule}).", rule


def _break(survey: Survey, part: Part, terminal: str, node: str) -> tuple[str, str]:
    """Return what to do about one part that stands between the line and a node, or on the line
    where it should not.
    """
    name, words = part.name, set(part.words)
    if part.kind == "tube":
        return _break_tube(part, terminal)
    if part.kind in ("diode", "selenium", "bridge") or "surge" in words:
        return _ruled(
            f"Take {name} off the line and feed B+ from an isolated winding", "remove-rectifier"
        )
    if part.kind == "thermistor" or words & {"dropper", "ballast", "line-cord"}:
        return _ruled(
            f"Take out {name}, which drops the line for the heater string", "take-out-dropper"
        )
    if part.kind == "electrolytic" or part.kind == "choke":
        return _ruled(f"Take {name} out of the old B+ filter on the line", "remove-filter")
    if part.kind in ("autotransformer", "transformer"):
        side = (
            "An autotransformer isolates nothing"
            if part.kind == "autotransformer"
            else (
                f"Between the windings that {name} joins here the insulation does not count as"
                " isolation"
            )
        )
        return _ruled(
            f"{side}: feed {node} from a transformer with a separate secondary instead of {name}",
            "isolate-only",
        )
    if part.kind == "socket":
        return _ruled(
            f"Move the line wires off pin {terminal} of socket {name}: a freed socket pin is no tie"
            " point for the line",
            "remove-rectifier",
        )
    if part.kind == "capacitor":
        return (
            (
                f"Take out {name}; across the line belongs one of class X2, from the line to"
                " earthed metal one of class Y2."
            ),
            "",
        )
    if terminal in METALWORK:
        return _bond(survey, part, terminal, node)
    if part.kind == "shielded cable":
        return (
            (
                f"Take the shield of {name} off the line and join it to earth at one end; the line"
                " belongs on the cores."
            ),
            "",
        )
    if part.kind in ("chassis", "jack", "earth", "pickup", "microphone", "speaker"):
        return _ruled(f"Take the line off {name} {terminal}", "release-line-cord")
    return f"Take {name} out, or move it off the line: it stands between the mains and {node}.", ""


def _bond(survey: Survey, part: Part, terminal: str, node: str) -> tuple[str, str]:
    """Return what to do about the metalwork of a part with the mains inside, or of a control with a
    line switch on its back.
    """
    behind = (
        f"the {terminal} of {part.setting('on')}, which has {part.name} on its back"
        if part.kind == "switch"
        else (f"the {terminal} of {part.name}")
    )
    if node in survey.ties.only_pulled:
        return _ruled(
            f"Bond {behind}, to the earth that comes with the line, and not through the umbilical:"
            f" with the umbilical pulled {node} has no earth while the line is still there",
            "bond-chassis",
        )
    return _ruled(f"Bond {behind}, to earth by a conductor", "bond-chassis")


def _break_tube(part: Part, terminal: str) -> tuple[str, str]:
    element = _element(part.type, terminal)
    if element is None:
        return (
            (
                f"Take every pin of {part.name} off the line: a {part.type} is not in the tube"
                " library, so all of them count as joined."
            ),
            "",
        )
    if element.startswith(("heater", "lamp-tap")):
        return _ruled(
            f"Cut the heater string at {part.name} and feed its heater from an isolated winding",
            "cut-heater-string",
        )
    return _ruled(
        f"Take B+ off the line: {part.name} is fed from it at its {element or 'pin ' + terminal}",
        "remove-rectifier",
    )


@cache
def _element(type_: str, pin: str) -> str | None:
    from rework.tubes import library

    known = library.find(type_)
    if known is None:
        return None
    carried = known.elements_of(pin)
    return carried[0] if carried else ""
