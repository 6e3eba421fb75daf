"""The work order: every edit of a job as one step for two hands, grouped as the bench does it.

Each edit is exactly one step and each step exactly one edit (``Step.edit`` is its place in
``JobRun.edits``); what is done before any edit (photographs, discharge) stands in ``Group.first``
and is no step.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit
from rework.circuit.edits import (
    Action,
    AttachCircuit,
    CutConductor,
    Edit,
    ExchangeTube,
    FitPart,
    LiftPin,
    RemovePart,
    RunWire,
    SetValue,
    apply_edit,
)
from rework.circuit.parts import Part, Value
from rework.compare.difference import value_text
from rework.papers.places import end_words, listed, neighbours, pin_words, place_words
from rework.rules.rewrite import Applied
from rework.rules.run import JobRun


@dataclass(frozen=True, slots=True)
class Step:
    """One edit as work: what to do, where, why, what to check before the next, and the cautions of
    its rule.

    ``edit`` is the place of the edit in ``JobRun.edits``, from 0; ``number`` counts steps in the
    order of the hands, from 1.
    """

    number: int
    edit: int
    what: str
    where: str
    why: str
    check: str
    rule: str
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Group:
    """Steps of one kind of work.

    ``first`` is what to do before the first of them; it belongs to no edit.
    """

    title: str
    first: tuple[str, ...]
    steps: tuple[Step, ...]


#: Groups in the order of the hands: title, and what comes before its first step. All of it common
#: practice, no source.
_GROUPS = {
    "record": (
        "Record and photograph",
        (
            (
                "Unplug. Discharge every filter capacitor through a resistor of 10 k to 100 k, then"
                " measure across it: wait for a reading under 5 V."
            ),
            (
                "Clip a jumper across each one while you work: an emptied capacitor can build up a"
                " charge again."
            ),
            "Photograph both sides, every socket, the cord, and any paper glued into the case.",
            (
                "Write down which tube sits in which socket. Compare the set with the drawing"
                " Before; where they differ, stop and mend the netlist first."
            ),
        ),
    ),
    "remove": (
        "Unsolder and remove",
        ("Keep all that comes out in one tray, each part with its name on a tag.",),
    ),
    "cut": (
        "Cut traces and take out wires",
        ("Mark both ends with a pen before you cut; compare with the drawing.",),
    ),
    "lift": ("Lift pins", ("Lift one at a time. A freed wire is bent clear and sleeved.",)),
    "sockets": (
        "Sockets and tubes",
        ("Wire the sockets now. Leave every tube out until the test plan asks for it.",),
    ),
    "fit": ("Fit parts in the amplifier", ("Measure each new part before it goes in.",)),
    "heaters": (
        "Rewire the heaters",
        ("One twisted pair from socket to socket, close to the metal.",),
    ),
    "supply": (
        "Supply chassis",
        ("Build and measure the supply on its own, without the amplifier.",),
    ),
    "umbilical": (
        "Umbilical, earth and switch lead",
        ("The earth goes first, on its own screw, and is the last to come off.",),
    ),
}


def work_order(run: JobRun) -> tuple[Group, ...]:
    """Return the groups that have work in them, the first (record) always, steps numbered through."""
    steps: dict[str, list[Step]] = {key: [] for key in _GROUPS}
    gone = frozenset(edit.action.name for edit in run.edits if isinstance(edit.action, RemovePart))
    circuit, index = run.before, 0
    for taken in run.taken:
        if not isinstance(taken.outcome, Applied):
            continue
        made: list[tuple[str, Step, str]] = []
        for edit in taken.outcome.edits:
            after = apply_edit(circuit, edit.action)
            final = run.after if _subject(edit.action) in run.after.by_name else after
            step = Step(0, index, *_words(edit.action, circuit, after, final, gone), edit.rule)
            made.append(
                (
                    _group(edit, circuit, gone),
                    replace(step, why=edit.reason or taken.says),
                    _subject(edit.action),
                )
            )
            circuit, index = after, index + 1
        for key, step in _cautioned(made, taken.outcome.cautions):
            steps[key].append(step)
    groups, number = [], 0
    for key, (title, first) in _GROUPS.items():
        numbered = tuple(
            replace(step, number=number + count) for count, step in enumerate(steps[key], 1)
        )
        number += len(numbered)
        if numbered or key == "record":
            groups.append(Group(title, first, numbered))
    return tuple(groups)


def _cautioned(
    made: list[tuple[str, Step, str]], cautions: tuple[str, ...]
) -> list[tuple[str, Step]]:
    """Give each caution of a rule to the step whose part it names, else to the one that the hands
    come to first.
    """
    order = list(_GROUPS)
    given: dict[int, list[str]] = {}
    for caution in cautions:
        named = [
            one for one in made if re.search(rf"(?<![\w/]){re.escape(one[2])}(?![\w/])", caution)
        ]
        first = min(named or made, key=lambda one: (order.index(one[0]), one[1].edit))
        given.setdefault(first[1].edit, []).append(caution)
    return [(key, replace(step, cautions=tuple(given.get(step.edit, ())))) for key, step, _ in made]


def _group(edit: Edit, circuit: Circuit, gone: frozenset[str]) -> str:
    match edit.action:
        case LiftPin(name, _) if name in gone and circuit.by_name[name].kind != "tube":
            return "remove"
        case RemovePart():
            return "remove"
        case CutConductor():
            return "cut"
        case LiftPin():
            return "lift"
        case ExchangeTube():
            return "sockets"
        case FitPart(part):
            return "sockets" if part.kind in ("socket", "tube") else "fit"
        case SetValue():
            return "fit"
        case AttachCircuit():
            return "supply"
        case RunWire():
            return "heaters" if "heater" in edit.rule else "umbilical"
    raise AssertionError("every action has a group")


def _subject(action: Action) -> str:
    match action:
        case FitPart(part) | RunWire(part):
            return part.name
        case LiftPin(name, _) | CutConductor(name) | RemovePart(name):
            return name
        case ExchangeTube() | SetValue():
            return action.name
        case AttachCircuit(_, prefix):
            return prefix
    raise AssertionError("every action has a subject")


def _words(
    action: Action, before: Circuit, after: Circuit, final: Circuit, gone: frozenset[str]
) -> tuple[str, str, str, str]:
    """Return what, where, an empty why, and what to check.

    Places are told as the hands find them: without the parts that are out by then, and what is
    built as it ends up.
    """
    match action:
        case RemovePart(name):
            part = before.by_name[name]
            return (
                f"{'Pull' if part.kind == 'tube' else 'Take out'} {name}, {plain(part)}",
                _seat(part, before),
                "",
                _left(part, after),
            )
        case CutConductor(name):
            part = before.by_name[name]
            verb = "Cut trace" if part.kind == "trace" else "Take out"
            where = " to ".join(_other_end(before, node, {name, *gone}) for _, node in part.pins)
            return (
                f"{verb} {name}" + ("" if part.kind == "trace" else f", {plain(part)}"),
                where + (f"; {part.remark}" if part.remark else ""),
                "",
                "Ohmmeter across the cut, leads free: no direct connection is left.",
            )
        case LiftPin(name, terminal):
            part = before.by_name[name]
            there = place_words(before, part.node(terminal), {name, *gone})
            return (
                f"Lift {pin_words(part, terminal)}",
                f"from {there}",
                "",
                (
                    "Ohmmeter from the lifted lug to where it was: no direct connection. The loose"
                    " wire touches nothing."
                ),
            )
        case FitPart(part):
            kind = "The socket stays as a tie point" if part.kind == "socket" else "Fit"
            check = (
                "Tag the socket: no tube goes into it."
                if part.kind == "socket"
                else (
                    "Polarity as written; ohmmeter between neighbouring lugs: no short."
                    if part.kind == "electrolytic"
                    else "Each lead against the drawing After; no short between neighbouring lugs."
                )
            )
            return (
                f"{kind}: {part.name}, {plain(part)}",
                _seat(final.by_name[part.name], final),
                "",
                check,
            )
        case RunWire(part):
            ends = "; ".join(
                f"{terminal}: {end_words(final, part, terminal, end)}"
                for terminal, end in part.pins
            )
            return (
                f"Run {part.name}, {plain(part)}",
                ends,
                "",
                (
                    "Ohmmeter end to end: the same as with the test leads held together. Then to"
                    " the chassis: as the drawing After says."
                ),
            )
        case ExchangeTube(name, type_, _, _, moves):
            old = before.by_name[name]
            told = "; ".join(
                f"{element}: from {_pins(was)} to {_pins(now)}" for element, was, now in moves
            )
            to_do = (
                f"Rewire socket {name} for the {type_} that stays"
                if type_ == old.type
                else f"Make socket {name} ready for a {type_} in place of the {old.type}"
            )
            return (
                to_do,
                told or "every element keeps its pin",
                "",
                (
                    f"Ohmmeter from every lug of {name} to where its wire goes, against the socket"
                    " view. No wire is left on a wrong lug."
                ),
            )
        case SetValue(name, values, _):
            old, new = before.by_name[name], after.by_name[name]
            return (
                f"Exchange {name}: {plain(old)} out, {plain(new)} in",
                _seat(final.by_name[name], final),
                "",
                "Measure the new part before you solder it in.",
            )
        case AttachCircuit(circuit, prefix):
            names = tuple(part.name for part in circuit.parts if part.kind != "chassis")
            return (
                f"Build {circuit.title or prefix} on a chassis of its own: {', '.join(names)}",
                f"named {prefix}/ in every list; see its own sheet",
                "",
                (
                    "Tests 1 to 6 of the plan with the umbilical pulled, before the amplifier hangs"
                    " on it."
                ),
            )
    raise AssertionError("every action has words")


def plain(part: Part) -> str:
    """Return what a part is without where it goes: ``resistor 220k 1/2 W``; a transformer with each
    of its windings.
    """
    what = " ".join(filter(None, (part.kind, part.type, *map(_worded, part.values), *part.words)))
    return ", ".join(
        [
            what,
            *(
                f"{name} {' '.join(map(_worded, values))}"
                for name, values in part.windings
                if values
            ),
        ]
    )


def _worded(value: Value) -> str:
    return (
        f"{value.role} {value_text(value)}".strip()
        if value.role not in value_text(value)
        else value_text(value)
    )


def _pins(pins: tuple[str, ...]) -> str:
    return f"pin {' + '.join(pins)}" if pins else "no pin"


def _seat(part: Part, circuit: Circuit) -> str:
    """Return where each lead of a part goes, and the remark of the netlist on it."""
    leads = "; ".join(
        f"{terminal} on {place_words(circuit, node, {part.name})}" for terminal, node in part.pins
    )
    return (leads or "every lead is free already") + (f"; {part.remark}" if part.remark else "")


def _left(part: Part, after: Circuit) -> str:
    """Return what must still hang where a part was, at the places few enough to look at."""
    there = {node: neighbours(after, node) for _, node in part.pins if node in after.at}
    stays = [f"{node}: {listed(words)}" for node, words in there.items() if 0 < len(words) <= 4]
    return (
        "Still in place: " + "; ".join(stays) + "." if stays else "Nothing else came loose with it."
    )


def _other_end(circuit: Circuit, node: str, but: set[str]) -> str:
    lugs = [
        pin_words(part, pin)
        for part, pin in circuit.at[node]
        if part.name not in but and part.kind in ("tube", "socket")
    ]
    return lugs[0] if lugs else place_words(circuit, node, but)
