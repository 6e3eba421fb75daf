"""``rework touch``: what a person would feel, as a table, JSON or a picture; a job before and
after.
"""

from __future__ import annotations

import argparse

from rework.circuit.place import Problem
from rework.commands.arguments import (
    positions_asked,
    stated_words,
    takes_force,
    takes_json,
    takes_netlist,
    takes_positions,
)
from rework.commands.pictures import keep, wanted_picture
from rework.commands.subject import positioned_subject, subject
from rework.language.files import Refusal
from rework.report.table import text
from rework.report.terminal import printable, progress, wrapped
from rework.solve.charged import charge_left
from rework.touch.stored import AfterUnplugging
from rework.touch.stored_words import pins_words
from rework.touch.touch import TouchReport, touch
from rework.touch.words import (
    BOTH_TOLD,
    FELT,
    NOTHING_TOUCHABLE,
    TOLERANCES,
    assumed_table,
    gap_words,
    limits_table,
    listed_touches,
    side_by_side,
    touch_table,
    unproved_words,
    worst_states,
)

EXAMPLE = "rework touch pager.job"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    takes_measurement(parser)
    parser.add_argument(
        "--percent",
        type=int,
        choices=(5, 50, 95),
        default=5,
        help="body impedance not exceeded by so many percent of people",
    )
    parser.add_argument("--wet", action="store_true", help="skin wet with plain water")
    parser.add_argument(
        "--plot", metavar="OUT.svg", help="also draw the worst readings, with the limit"
    )
    takes_force(parser)


def takes_measurement(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``touch`` that ``faults`` has too."""
    takes_netlist(parser)
    takes_positions(parser)
    parser.add_argument(
        "--all",
        action="store_true",
        help="print every row, also those that are under the limit",
    )
    parser.add_argument(
        "--network",
        choices=("iec", "iec-letgo", "iec-unweighted", "service"),
        default="iec",
        help="measuring network (default: iec)",
    )
    parser.add_argument(
        "--limit",
        choices=("0.25", "0.5", "0.7 peak", "0.75", "3.5"),
        default="0.5",
        help="limit in mA rms (default: 0.5)",
    )
    parser.add_argument(
        "--assume",
        metavar="NAME=VALUE",
        action="append",
        default=[],
        help="assume another figure, such as interwinding_farad=5e-10",
    )
    takes_json(parser)


def run(asked: argparse.Namespace) -> int:
    """Print the touch currents; return 1 where anything (in a job, anything after it) is over its
    limit or not known, or pins of a plug or bare contacts of a connector stay charged too long.
    """
    at, about = positions_asked(asked), subject(asked.file)
    stood = positioned_subject(about, at)
    wanted_picture(asked.plot, force=asked.force, sources=about.sources)
    if not asked.json:
        about.print_cautions()
    circuits = [(stood.heading(key), circuit) for key, circuit in stood.circuits.items()]
    options = {
        "network": asked.network,
        "limit_name": asked.limit,
        "body": asked.percent,
        "wet": asked.wet,
        "changes": changes(asked.assume),
        "held": tuple(at),
    }
    with progress("touch", len(circuits)) as bar:
        reports = [(name, touch(circuit, **options, step=bar.update)) for name, circuit in circuits]
    charges = [charge_left(circuit, options["changes"]) for circuit in about.circuits.values()]
    if asked.json:
        from rework.commands.answers.current import touch_answer
        from rework.commands.answers.shape import json_text, of_sides

        answers = [
            touch_answer(report, charge, at)
            for (_, report), charge in zip(reports, charges, strict=True)
        ]
        print(json_text(of_sides(dict(zip(about.circuits, answers, strict=True)))))
    else:
        print(
            "\n\n".join(
                touch_text(report, charge, heading=name, every=asked.all, stated=stated_words(at))
                for (name, report), charge in zip(reports, charges, strict=True)
            )
        )
        if len(reports) > 1:
            print("\n" + text(side_by_side(reports[0][1], reports[1][1])))
    if asked.plot:
        from rework.commands.touch_plot import drawn

        keep(drawn(reports), asked.plot, force=asked.force)
    return max(reports[-1][1].exit_status, int(charges[-1].is_over))


def touch_text(
    report: TouchReport,
    charge: AfterUnplugging,
    *,
    heading: str,
    every: bool = False,
    stated: str = "",
) -> str:
    """Return the touch currents of one circuit for a terminal, with the charge that stays within
    reach; ``stated`` says which positions are not tried.
    """
    head = [
        f"{printable(heading)}: {printable(report.title)}",
        wrapped(f"{report.line}; {report.states:,} states tried"),
        *([wrapped(stated)] if stated else []),
        wrapped(f"read with {report.network.words} ({report.network.mark})"),
        wrapped(f"limit {report.limit_words}"),
    ]
    if not report.touches:
        return "\n".join([*head, wrapped(NOTHING_TOUCHABLE)])
    touches = listed_touches(report, every=every)
    when = [
        wrapped(line, indent)
        for pair in worst_states(touches)
        for line, indent in zip(pair, ("  ", "    "), strict=True)
    ]
    if len(touches) < len(report.touches):
        hidden = len(report.touches) - len(touches)
        when.append(f"  pairs under the limit: {hidden:,}; --all prints them")
    when += [wrapped(words, "  ") for words in gap_words(report)]
    unproved = unproved_words(report)
    blocks = [
        "\n".join(head),
        text(touch_table(report, every=every)),
        "\n".join([*when, *([wrapped(unproved, "  ")] if unproved else [])]),
    ]
    if charge.pins:
        lines = [wrapped(pins_words(pins), "  ") for pins in charge.pins]
        blocks.append("\n".join(["Charge within reach after pulling a plug or connector", *lines]))
    if every:
        blocks += [
            wrapped(f"{report.varied} {TOLERANCES}"),
            text(limits_table()),
            text(assumed_table(report.assumed)),
        ]
    notes = map(wrapped, (FELT, BOTH_TOLD, report.network.caution, *report.notes))
    return "\n\n".join([*blocks, "\n".join(notes)])


def changes(wanted: list[str]) -> tuple[tuple[str, float], ...]:
    """Return NAME=VALUE words as pairs.

    Raises Refusal for an unknown name or a value below zero.
    """
    from rework.touch.person import assumed

    known, choices = assumed(), []
    for word in wanted:
        name, _, text = word.partition("=")
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if name not in known or not (0 < value < 1e12 or (value == 0 and name.endswith("_farad"))):
            raise Refusal(
                Problem(
                    f"{word} is no assumption that you can set",
                    expected="NAME=VALUE in SI units, NAME one of " + ", ".join(sorted(known)),
                )
            )
        choices.append((name, value))
    return tuple(choices)
