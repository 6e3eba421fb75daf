"""Which built-in rules, in which order, take a set off the line: tried on the set before they are
told.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from rework.anatomy import amplifier
from rework.circuit.circuit import Circuit
from rework.rules import catalogue
from rework.rules.rewrite import Applied, plan
from rework.safety.check import check

#: No conversion is tried on a circuit of more parts than this.
MOST_PARTS = 600
#: The node that back bias returns to, where the set has it.
_RETURN = "NEGATIVE"


class ConversionKind(StrEnum):
    """What a conversion keeps of the set."""

    ISOLATE = "isolate"  # heater string and B+ as they are, behind an isolating transformer
    SUPPLY = "supply"  # off the line altogether: a new supply is attached after it


#: The rules of each kind of conversion, in order, each with the arguments that it takes.
_ORDER: dict[ConversionKind, tuple[tuple[str, tuple[str, ...]], ...]] = {
    ConversionKind.ISOLATE: (
        ("isolate-only", ("common", "chassis")),
        ("bond-common", ("common", "chassis")),
    ),
    ConversionKind.SUPPLY: (
        ("open-line-to-chassis", ()),
        ("take-out-dropper", ()),
        ("keep-back-bias", ("return",)),
        ("remove-rectifier", ()),
        ("remove-filter", ()),
        ("release-line-cord", ()),
        ("cut-heater-string", ()),
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


def conversions(circuit: Circuit) -> Iterator[Conversion]:
    """Yield the conversions that leave no tie to the mains, the lesser change first."""
    if len(circuit.parts) > MOST_PARTS:
        return
    names = _names(circuit)
    for kind, order in _ORDER.items():
        after, lines = circuit, []
        for rule, arguments in order:
            given = {name: names[name] for name in arguments if name in names}
            applied = _applied(rule, after, given)
            if applied is not None:
                after = applied
                lines.append(_line(rule, given))
        if lines and not check(after).hazards:
            yield Conversion(kind, tuple(lines), after)


def _applied(name: str, circuit: Circuit, given: dict[str, str]) -> Circuit | None:
    """Return the circuit after a rule, or None where it refuses or finds nothing to do."""
    rule, _ = catalogue.load(name)
    outcome = plan(rule, circuit, given) if rule is not None else None
    return outcome.after if isinstance(outcome, Applied) else None


def _names(circuit: Circuit) -> dict[str, str]:
    """Return the nodes that the rules ask for, by the name of the argument."""
    anatomy = amplifier.of(circuit)
    names = {"return": _RETURN}
    common = [node for node, point in anatomy.wiring.names if point in anatomy.common]
    if common:
        names["common"] = "COMMON" if "COMMON" in common else sorted(common)[0]
    chassis = [node for part in circuit.parts if part.kind == "chassis" for _, node in part.pins]
    if chassis:
        names["chassis"] = chassis[0]
    return names


def _line(rule: str, given: dict[str, str]) -> str:
    values = ", ".join(f"{name}={value}" for name, value in given.items())
    return f"apply {rule} : {values}" if values else f"apply {rule}"
