"""What a file says was not traced yet: nothing is known of it, so the check cannot clear it."""

from __future__ import annotations

from rework.circuit.parts import Part
from rework.language.terminals import Terminals
from rework.safety.findings import Caution, Finding, measure, write
from rework.safety.survey import Survey


def untraced(survey: Survey) -> tuple[Finding, ...]:
    """Return a caution for every part with pins on blank nodes that nothing else is on."""
    circuit = survey.circuit
    pins: dict[str, list[tuple[str, str]]] = {}
    parts: dict[str, Part] = {}
    for node in circuit.untraced:
        for part, terminal in circuit.at[node]:
            parts[part.name] = part
            pins.setdefault(part.name, []).append((terminal, node))
    return tuple(
        Caution(
            "blank",
            f"{name} is not traced yet. Nothing else is on "
            + ", ".join(f"{node} at {Terminals(parts[name]).words(pin)}" for pin, node in blanks)
            + ".",
            name,
            blanks[0][0],
            blanks[0][1],
            write("Write what is connected there. If nothing belongs there, write open NODE."),
        )
        for name, blanks in pins.items()
    )


def unlisted(survey: Survey) -> tuple[Finding, ...]:
    """Return a caution for every part of no listed kind that ties something to the mains: whether
    it does cannot be judged.
    """
    findings = []
    for part in survey.of_kind("unlisted part"):
        tied = [node for _, node in part.pins if survey.conduction_tied(node)]
        if len(dict.fromkeys(tied)) > 1 and not survey.primary.line.issuperset(tied):
            what = f' ("{part.type}")' if part.type else ""
            findings.append(
                Caution(
                    "part-unknown",
                    f"{part.name}{what} is of no listed kind, so its pins count as joined. The tie"
                    f" through {part.name} cannot be judged until it is known what it is.",
                    part.name,
                    "",
                    "",
                    measure(
                        f"Find out what {part.name} is and measure it from {tied[0]} to {tied[-1]},"
                        " plug pulled."
                    ),
                    "mind",
                )
            )
    return tuple(findings)
