"""Which built-in rules, in which order, take a set off the line: tried on the set before they are
reported.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from rework.anatomy import amplifier
from rework.anatomy.grounds import to_earth
from rework.circuit.circuit import Circuit
from rework.rules import catalogue
from rework.rules.rewrite import Applied, Refused, plan
from rework.safety.check import exposed
from rework.safety.findings import Report

#: No conversion is tried on a circuit of more parts than this.
MOST_PARTS = 600
#: The node that back bias returns to, where the set has it.
_RETURN = "NEGATIVE"


class ConversionKind(StrEnum):
    """What a conversion keeps of the set."""

    ISOLATE = "isolate"  # heater string and B+ as they are, behind an isolating transformer
    SUPPLY = "supply"  # off the line altogether: a new supply is attached after it


@dataclass(frozen=True, slots=True)
class _Step:
    """A rule of a conversion with the arguments that it takes; another where it refuses, and
    whether a refusal ends the conversion.
    """

    rule: str
    arguments: tuple[str, ...] = ()
    instead: str = ""
    vital: bool = False


#: The rules of each kind of conversion, in order.
_ORDER: dict[ConversionKind, tuple[_Step, ...]] = {
    ConversionKind.ISOLATE: (
        _Step("isolate-only", ("common", "chassis"), instead="isolate-keep-rectifier"),
        _Step("bond-common", ("common", "chassis")),
    ),
    ConversionKind.SUPPLY: (
        _Step("open-line-to-chassis"),
        _Step("take-out-dropper"),
        _Step("keep-back-bias", ("return",)),
        _Step("remove-rectifier", vital=True),
        _Step("remove-filter"),
        _Step("release-line-cord"),
        _Step("cut-heater-string"),
    ),
}


@dataclass(frozen=True, slots=True)
class Conversion:
    """Rules that were applied in order to a set, after which nothing of it is tied to the mains.

    ``rules`` are the lines of a job; ``after`` is the set that they leave.
    """

    kind: ConversionKind
    rules: tuple[str, ...]
    after: Circuit


def wanted(circuit: Circuit, report: Report) -> tuple[Conversion, ...]:
    """Return the conversions of a circuit with a hazard that no single remedy clears."""
    needed = any(not hazard.remedies for hazard in report.hazards)
    return tuple(conversions(circuit)) if needed else ()


def conversions(circuit: Circuit) -> Iterator[Conversion]:
    """Yield the conversions that leave no tie to the mains, the lesser change first."""
    if len(circuit.parts) > MOST_PARTS:
        return
    names = _names(circuit)
    for kind, order in _ORDER.items():
        after = circuit
        lines: list[str] = []
        for step in order:
            taken = _taken(step, after, names)
            if taken is None:
                break
            after, line = taken
            lines += line
        else:
            if lines and not exposed(after)[0]:
                yield Conversion(kind, tuple(lines), after)


def _taken(
    step: _Step, circuit: Circuit, names: dict[str, str]
) -> tuple[Circuit, tuple[str, ...]] | None:
    """Return the circuit after a step and its line in a job, none where it does nothing; None where
    its refusal ends the conversion.
    """
    for name in filter(None, (step.rule, step.instead)):
        rule, _ = catalogue.load(name)
        if rule is None:
            continue
        known = {parameter.name for parameter in rule.parameters}
        given = {each: names[each] for each in step.arguments if each in names and each in known}
        outcome = plan(rule, circuit, given)
        if isinstance(outcome, Applied):
            return outcome.after, (_line(name, given),)
        if step.vital and isinstance(outcome, Refused):
            return None
    return circuit, ()


def _names(circuit: Circuit) -> dict[str, str]:
    """Return the nodes that the rules ask for, by the name of the argument."""
    anatomy = amplifier.of(circuit)
    names = {"return": _RETURN}
    common = [node for node, point in anatomy.wiring.names if point in anatomy.common]
    if common:
        names["common"] = "COMMON" if "COMMON" in common else sorted(common)[0]
    chassis = to_earth(circuit) or names.get("common")
    if chassis:
        names["chassis"] = chassis
    return names


def _line(rule: str, given: dict[str, str]) -> str:
    values = ", ".join(f"{name}={value}" for name, value in given.items())
    return f"apply {rule} : {values}" if values else f"apply {rule}"
