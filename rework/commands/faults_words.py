"""Single faults and stored energy as text and as plain values for a machine.

The JSON of ``rework faults``: ``title``, ``line``, ``limit_amps``, ``healthy``, ``states``,
``open_conductors``, ``varied``, ``assumed`` (by name, SI), ``unknown``, ``notes``, ``count``
(faults by verdict), ``outcomes`` and ``building`` (faults of the outlet), each with the fields of
``verdicts.Outcome`` (``fault`` as its words, with ``part`` and ``kind``), and ``stored`` (``part``,
``farads``, ``volts``, ``joules``, ``positions``). Amperes, volts, ohms, seconds, joules; infinite
is null.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict

from rework.commands.touch_words import assumptions, direct_words, milliamperes, wrapped
from rework.report.terminal import printable, table
from rework.touch.outcomes import VERDICTS, Ended, FaultReport, Outcome, seconds_words
from rework.touch.stored import Stored

#: Faults of one kind told one by one; the rest are counted.
MOST_TOLD = 8
#: What the faults of one kind are, for the head of their table.
KINDS = {
    "open": "a joint or a part open",
    "earth": "an earth joint open",
    "supply": "a supply conductor open",
    "short": "a part short",
    "bridging": "a part short on the line or on what a hand can reach",
    "leak": "a capacitor leaking tenfold",
    "insulation": "insulation broken down",
    "metalwork": "insulation to a shaft or frame broken down",
    "heater": "heater shorted to cathode",
    "lead": "a line lead off its lug and onto metal",
    "umbilical": "an umbilical pulled",
    "contact": "a contact of an umbilical open",
    "electrodes": "electrodes of a tube shorted",
    "contacts": "neighbouring contacts of a connector bridged",
    "pins": "neighbouring pins of a socket bridged",
    "tube": "a tube out of its socket",
    "outlet": "an outlet wired the wrong way round",
}
HEADS = {
    "over": "OVER THE LIMIT, AND NOTHING ENDS IT",
    "not known": "NOT KNOWN: under the limit as far as it goes, but a value is missing",
    "breaker": (
        "LEFT TO THE BREAKER OF THE BUILDING: metal stands at volts until it trips; nothing in the"
        " set can be faster"
    ),
    "cleared": "Cleared by a fuse of the set: metal stands at volts until it has blown",
}
SHORT = {
    "over": "stay over the limit, and nothing ends them",
    "not known": "are not known, for want of a value",
    "breaker": "are left to the breaker of the building",
    "cleared": "are cleared by a fuse of the set",
    "under": "never pass the limit",
}
BUILDING = (
    "Not a fault of the set, and not counted in the exit status: with hot and neutral swapped and"
    " the earth tied to that neutral, everything that is earthed stands at line volts while nothing"
    " looks wrong. No fuse or switch in a set can end it."
)


def faults_text(
    report: FaultReport, stored: Sequence[Stored], *, heading: str, every: bool = False
) -> str:
    """Return the faults by what becomes of them, the worst first, each kind in a small table; then
    what the capacitors keep.
    """
    outcomes = report.outcomes
    limit, healthy = (
        f"limit {report.limit_amps * 1e3:g} mA",
        f"without a fault {milliamperes(report.healthy)}",
    )
    out = [
        f"{heading}: {printable(report.title)}",
        (
            f"{report.line}; {len(outcomes)} single faults, each in {report.states} states;"
            f" {limit}; {healthy}"
        ),
        *(
            ["each of them also with the neutral, the earth or both open, which is a second fault"]
            if report.open_conductors
            else []
        ),
        "",
    ]
    if report.healthy > report.limit_amps:
        out += [
            (
                "OVER THE LIMIT WITHOUT ANY FAULT: see rework touch. Told below is what a fault"
                " adds to that."
            ),
            "",
        ]
    if not outcomes:
        return "\n".join(
            [
                *out,
                (
                    "The netlist names nothing that a hand can reach. Write touchable NODE, or a"
                    " chassis, and ask again."
                ),
            ]
        )
    for verdict in VERDICTS:
        number = sum(one.verdict == verdict for one in outcomes)
        if number:
            out.append(f"{number:5}  {SHORT[verdict]}")
    for verdict in VERDICTS[:-1]:
        mine = [one for one in outcomes if one.verdict == verdict]
        adding = [
            one
            for one in mine
            if every or one.adds or (verdict == "not known" and one.reading > report.limit_amps)
        ]
        if adding:
            out += ["", HEADS[verdict], *_by_kind(adding, every)]
        if len(adding) < len(mine):
            out.append(
                f"  {len(mine) - len(adding)} {'more ' if adding else ''}add nothing to what is"
                " there without them"
            )
    if every:
        out += [
            "",
            "Never over the limit",
            table(
                [
                    (
                        f"  {one.fault.what}",
                        _where(one.node, one.other),
                        milliamperes(one.reading),
                        direct_words(one.dc_amps, one.dc_volts),
                    )
                    for one in outcomes
                    if one.verdict == "under"
                ]
            ),
        ]
    if report.building:
        out += ["", "OF THE BUILDING", wrapped(BUILDING, "  ")]
        out += [
            f"  {_where(one.node, one.other)}: {milliamperes(one.reading)}, {one.volts:.3g} V."
            f" Prevented by {one.prevented}."
            for one in report.building
        ]
    out += ["", *stored_text(stored)] if stored else []
    out += [wrapped(f"missing: {words}", "  ") for words in report.unknown]
    out += ["", wrapped(report.varied), "", *assumptions(report.assumed)] if every else []
    return "\n".join([*out, "", *map(wrapped, report.notes)])


def _where(node: str, other: str) -> str:
    return f"{node} to {other}" if other else node


def _by_kind(outcomes: Sequence[Outcome], every: bool) -> Iterator[str]:
    """Return the faults of each kind as a small table, what ends them and what prevents them said
    once.
    """
    kinds: dict[str, list[Outcome]] = {}
    for one in outcomes:
        kinds.setdefault(one.fault.kind, []).append(one)
    for kind, ones in kinds.items():
        told = ones if every else ones[:MOST_TOLD]
        yield f"  {KINDS[kind]}: {len(ones)}"
        yield "\n".join("    " + line for line in table(list(_rows(told))).splitlines())
        if len(told) < len(ones):
            yield f"    {len(ones) - len(told)} more; --all prints them"
        yield wrapped(f"prevented by {ones[0].prevented}", "    ")


def _rows(told: Sequence[Outcome]) -> Iterator[tuple[str, ...]]:
    ends = told[0].verdict in ("breaker", "cleared")
    direct = any(one.dc_is_over for one in told)
    head = [
        "fault",
        "touched",
        "through a hand",
        *(["DC"] if direct else []),
        "metal at" if ends else "open volts",
        "ended by" if ends else "when",
        "worst with",
    ]
    yield tuple(head if ends else head[:-1])
    for one in told:
        only_direct = one.dc_is_over and not one.adds_alternating
        row = [
            _what(one),
            _where(*(one.dc_node, one.dc_other) if only_direct else (one.node, one.other)),
            "-" if one.reading < 1e-6 else milliamperes(one.reading),
            *([direct_words(one.dc_amps, one.dc_volts)] if direct else []),
            (
                f"{one.dc_volts:.0f} V DC"
                if only_direct
                else f"{one.bond_volts if ends and one.bond_volts else one.volts:.3g} V"
            ),
        ]
        when = one.state + (f"; {one.condition}" if one.condition else "")
        if not ends:
            yield (*row, when)
        elif one.verdict == "cleared":
            yield (*row, cleared_words(one.ended), when)
        else:
            yield (*row, f"building, {one.ended.line_amps:.3g} A", when)


def cleared_words(ended: Ended) -> str:
    """Return the fuse that opens, within which time, and what it carries."""
    if math.isinf(ended.seconds) or ended.is_beyond_breaking:
        return "a fuse of the set"
    return (
        f"{ended.fuse} within {seconds_words(ended.seconds)} ({ended.amps:.3g} A, rating"
        f" {ended.rating:g} A)"
    )


def _what(one: Outcome) -> str:
    """Return a fault without what the head of its table says already."""
    return {
        "lead": one.fault.what.removeprefix("line lead ").replace(" off its lug and", ""),
        "insulation": one.fault.what.removesuffix(" broken down"),
        "metalwork": one.fault.what.removesuffix(" broken down"),
        "leak": one.fault.what.removesuffix(" leaking tenfold"),
    }.get(one.fault.kind, one.fault.what)


def stored_text(stored: Sequence[Stored]) -> Iterator[str]:
    """Return what the capacitors keep after the plug is out, as a table."""
    yield "AFTER THE PLUG IS OUT"
    rows = [("  capacitor", "volts", "joules", "to 60 V", "to 34 V", "through", "where")]
    for one in stored:
        if math.isinf(one.farads):
            rows.append(
                (
                    f"  {one.part}",
                    "not known",
                    "",
                    "no capacitance written: take it as charged, discharge it",
                    "",
                    "",
                    "",
                )
            )
            continue
        for words, ohms, sixty, low in _alike(one):
            rows.append(
                (
                    f"  {one.part}",
                    f"{one.volts:.0f} V",
                    f"{one.joules:.3g} J",
                    *(
                        ("nothing discharges it", "", "")
                        if math.isinf(ohms) and one.volts > 34
                        else (seconds(sixty), seconds(low), ohms_words(ohms))
                    ),
                    words,
                )
            )
    yield table(rows)
    if any(math.isinf(ohms) for one in stored for _, ohms, _, _ in one.positions):
        yield wrapped(
            "Where nothing discharges it, it waits for a finger: short it through a resistor, with"
            " one hand, and measure 0 V before you touch.",
            "  ",
        )


def seconds(value: float) -> str:
    """Return seconds with three figures, or that it is at once."""
    return "at once" if value < 1e-3 else f"{value:.3g} s"


def ohms_words(ohms: float) -> str:
    """Return ohms in the unit of the bench."""
    return (
        "-"
        if math.isinf(ohms)
        else (
            f"{ohms / 1e6:.3g} Mohm"
            if ohms >= 1e6
            else f"{ohms / 1e3:.3g} kohm"
            if ohms >= 1e3
            else f"{ohms:.3g} ohm"
        )
    )


def _alike(one: Stored) -> Iterator[tuple[str, float, float, float]]:
    """Return the positions of a capacitor, those in which it discharges alike together."""
    alike: dict[tuple, list[str]] = {}
    for words, ohms, sixty, low in one.positions:
        alike.setdefault(tuple(float(f"{value:.3g}") for value in (ohms, sixty, low)), []).append(
            words
        )
    for (ohms, sixty, low), words in alike.items():
        yield (
            (
                "any position"
                if len(alike) == 1
                else _places(words, [position[0] for position in one.positions])
            ),
            ohms,
            sixty,
            low,
        )


def _places(some: Sequence[str], every: Sequence[str]) -> str:
    """Return some of the positions as a phrase; switches are left out where they make no
    difference.
    """

    def pulled(words: str) -> str:
        return (
            ", ".join(word for word in words.split(", ") if word.endswith(" pulled"))
            or "umbilical in place"
        )

    told: dict[str, None] = {}
    for words in some:
        whole = {other for other in every if pulled(other) == pulled(words)} <= set(some)
        told[pulled(words) if whole else words] = None
    return " or ".join(told)


def faults_json(report: FaultReport, stored: Sequence[Stored]) -> dict:
    """Return a fault report as plain values."""
    kept = [
        {
            "part": one.part,
            "farads": _finite(one.farads),
            "volts": _finite(one.volts),
            "joules": _finite(one.joules),
            "positions": [
                {
                    "state": words,
                    "ohms": _finite(ohms),
                    "seconds_to_60_volts": _finite(sixty),
                    "seconds_to_34_volts": _finite(low),
                }
                for words, ohms, sixty, low in one.positions
            ],
        }
        for one in stored
    ]
    return {
        "title": report.title,
        "line": report.line,
        "limit_amps": report.limit_amps,
        "healthy": report.healthy,
        "states": report.states,
        "open_conductors": report.open_conductors,
        "varied": report.varied,
        "assumed": dict(report.assumed),
        "unknown": list(report.unknown),
        "notes": list(report.notes),
        "count": {
            verdict: sum(one.verdict == verdict for one in report.outcomes) for verdict in VERDICTS
        },
        "outcomes": list(map(_as_json, report.outcomes)),
        "building": list(map(_as_json, report.building)),
        "stored": kept,
    }


def _as_json(one: Outcome) -> dict:
    return {
        **{name: value for name, value in asdict(one).items() if name != "fault"},
        "fault": one.fault.what,
        "part": one.fault.part,
        "kind": one.fault.kind,
    }


def _finite(value: float) -> float | None:
    return None if math.isinf(value) else value
