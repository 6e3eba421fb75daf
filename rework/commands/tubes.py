"""``rework tubes``: what is known of a tube, from where, and how far that can be trusted."""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable, Iterable, Sequence

from rework.circuit.place import Problem
from rework.commands.arguments import takes_json
from rework.language.files import Refusal
from rework.report.figures import shown
from rework.report.terminal import fitted, styled, table
from rework.tubes import library, relatives
from rework.tubes.figure import Figure
from rework.tubes.tubetype import HeaterAlone, TubeType

EXAMPLE = "rework tubes 50C5"
#: Words how a figure is known, from its grade and source, and notes the source for the list below.
Cite = Callable[[str, str], str]


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument("type", nargs="?", help="a tube type; without it all are listed")
    takes_json(parser)


def run(asked: argparse.Namespace) -> int:
    """Print the list of types, or the card of one."""
    if asked.type is None:
        names = sorted(library.types(), key=_by_heater)
        types = [tube for name in names if (tube := library.find(name)) is not None]
        if asked.json:
            from rework.commands.answers.shape import json_text
            from rework.commands.answers.tubes import heater_line, tube_line

            lines = [tube_line(tube, _trust(tube)) for tube in types]
            print(json_text([*lines, *map(heater_line, library.types_without_basing())]))
        else:
            print(_listing(types, library.types_without_basing()))
        return 0
    tube = library.find(asked.type)
    if tube is None:
        if (known := library.without_basing(asked.type)) is not None:
            return _heater_alone(known, as_json=asked.json)
        near = library.nearest(asked.type)
        raise Refusal(
            Problem(
                f"{asked.type} is not in the tube library",
                expected="a type that rework tubes lists",
                hint=(f"did you mean {' or '.join(near)}? Otherwise in" if near else "in")
                + f" a circuit write tube unlisted {asked.type} heater VOLTS AMPS, with its pins",
            )
        )
    if asked.json:
        from rework.commands.answers.shape import json_text
        from rework.commands.answers.tubes import tube_card

        print(json_text(tube_card(tube, _trust(tube))))
    else:
        print(fitted(card(tube)))
    return 0


def _by_heater(type_: str) -> tuple[int, str]:
    """Return where a type is in the list: by the number it begins with, as in a manual, then
    those that begin with a letter.
    """
    digits = type_[: len(type_) - len(type_.lstrip("0123456789"))]
    return int(digits or "999999"), type_


def _heater_alone(known: HeaterAlone, *, as_json: bool) -> int:
    """Print what is known of a type without a basing."""
    if as_json:
        from rework.commands.answers.shape import json_text
        from rework.commands.answers.tubes import heater_line

        print(json_text(heater_line(known)))
        return 0
    also = f"  (also {', '.join(known.aliases)})" if known.aliases else ""
    lines = [
        styled(known.type, "bold") + also + f"  {known.kind}",
        f"base: {known.base} (from memory)",
        f"heater: {_shown(known.volts)}  {_shown(known.amps)}  ({known.volts.trust})",
        "pins: not known. A circuit may name the type, with its pins by number or by element from"
        f" its sheet, as in V9 tube {known.type} : heater=H1 -- H2, plate=P1: its heater then"
        " counts, and the mains check takes all its pins as joined.",
        f"source: {_source(known.volts.source)}",
    ]
    print(fitted("\n".join(lines)))
    return 0


#: How a grade is counted under the list, the best first.
_GRADES = {
    "seen": "seen in print",
    "republished": "republished",
    "second-hand": "second-hand",
    "memory": "from memory",
}


def _counts(types: Sequence[TubeType], without_basing: Sequence[HeaterAlone]) -> str:
    """Return how many types there are, and how the pins and heaters of how many are known."""
    heaters = [*(tube.heater.volts.grade for tube in types)]
    heaters += [known.volts.grade for known in without_basing]
    lines = [
        f"{len(types) + len(without_basing)} types, the pins of {len(types)} known:"
        f" {_graded(tube.pins_grade for tube in types)}.",
        f"Heaters: {_graded(heaters)}.",
        "The mains check takes all pins of the others as joined. rework tubes TYPE prints the"
        " source of each figure.",
    ]
    return "\n".join(lines)


def _graded(grades: Iterable[str]) -> str:
    """Return how many have each grade, the best first."""
    count = Counter(grade.partition(",")[0] for grade in grades)
    known = [grade for grade in _GRADES if grade in count]
    other = sorted(count.keys() - _GRADES.keys())
    return ", ".join(f"{count[grade]} {_GRADES.get(grade, grade)}" for grade in (*known, *other))


def _listing(types: Sequence[TubeType], without_basing: Sequence[HeaterAlone]) -> str:
    rows = [("type", "also", "kind", "heater", "base", "pins and heater")]
    rows += [
        (
            tube.type,
            ", ".join(tube.aliases),
            tube.kind,
            f"{tube.heater.volts.value:g} V {tube.heater.amps.value:g} A",
            tube.base,
            _trust(tube),
        )
        for tube in types
    ]
    rows += [
        (
            known.type,
            ", ".join(known.aliases),
            known.kind,
            f"{known.volts.value:g} V {known.amps.value:g} A",
            known.base,
            f"pins not known, heater {known.volts.trust}",
        )
        for known in without_basing
    ]
    return f"{table(rows)}\n\n{fitted(_counts(types, without_basing))}"


def _trust(tube: TubeType) -> str:
    words = {"pins": tube.pins_grade, "heater": tube.heater.volts.grade}
    return (
        "verified"
        if all(grade == "seen" for grade in words.values())
        else ", ".join(
            f"{what}"
            f" {'verified' if grade == 'seen' else grade if grade != 'memory' else 'from memory'}"
            for what, grade in words.items()
        )
    )


def card(tube: TubeType) -> str:
    """Return everything the library holds of one type, each figure with how it is known and the id
    of its source.
    """
    used: dict[str, None] = {}

    def cite(grade: str, source: str) -> str:
        used[source] = None
        return (
            f"[{'verified' if grade == 'seen' else 'from memory' if grade == 'memory' else grade}:"
            f" {source}]"
        )

    out = [
        styled(tube.type, "bold")
        + (f"  (also {', '.join(tube.aliases)})" if tube.aliases else "")
        + f"  {tube.kind}",
        f"base: {tube.base} {tube.basing}".rstrip()
        + f"  {cite(tube.pins_grade, tube.pins_source)}",
    ]
    out.append(table([(f"  pin {pin}", " and ".join(names)) for pin, names in tube.elements]))
    out += _heater_lines(tube, cite)
    out += _figure_lines(tube, cite)
    out += _other_types(tube, cite)
    out += [f"note: {note}" for note in tube.notes]
    out.append("sources:")
    out += [f"  {name}: {_source(name)}" for name in used]
    return "\n".join(out)


def _heater_lines(tube: TubeType, cite: Cite) -> list[str]:
    lines = ["heater:" + (" directly heated" if tube.heater.directly_heated else "")]
    for feed in tube.heater.ways:
        ends = " to ".join("+".join(sorted(end)) for end in feed.between)
        lines.append(
            f"  {_shown(feed.volts)}  {_shown(feed.amps)}  between {ends} "
            f" {cite(feed.volts.grade, feed.volts.source)}"
        )
    lines += [
        f"  {_shown(section.volts)} between {' and '.join(section.between)}, nothing on the tap  "
        f"{cite(section.volts.grade, section.volts.source)}"
        for section in tube.heater.sections
    ]
    return lines


def _figure_lines(tube: TubeType, cite: Cite) -> list[str]:
    """Return the ratings, and the rows printed for stages and capacitances."""
    lines = []
    if tube.ratings:
        ratings = [
            (
                f"  {_words(name)}",
                _shown(figure),
                cite(figure.grade, figure.source) + (f" {figure.note}" if figure.note else ""),
            )
            for name, figure in sorted(tube.ratings.items())
        ]
        lines += ["maximum ratings:", table(ratings)]
    for title, rows in (
        ("typical operation:", tube.typical),
        ("resistance-coupled stages:", tube.stages),
        ("capacitances between electrodes:", tube.capacitances),
    ):
        if rows:
            lines.append(title)
        for row in rows:
            values = ", ".join(f"{_words(name)} {_shown(row[name])}" for name in row)
            lines.append(
                f"  {(row.use or row.unit) + ': ' if row.use or row.unit else ''}{values} "
                f" {cite(row.grade, row.source)}"
            )
    return lines


def _other_types(tube: TubeType, cite: Cite) -> list[str]:
    """Return the types with the same curves, and those that only look alike."""
    lines = []
    kin = relatives.relatives(tube)
    if kin:
        lines.append("same electrodes and curves, other heater:")
        lines += [
            f"  {relative.type}  {_shown(relative.way.volts)} {_shown(relative.way.amps)}, pins"
            f" {'MOVE' if relative.pins_move else 'stay'}"
            + (f". {relative.note}" if relative.note else "")
            + f"  {cite(relative.grade, relative.source)}"
            for relative in kin
        ]
    if tube.lookalikes:
        lines.append("looks alike and is NOT the same:")
        lines += [
            f"  {lookalike.type}: {lookalike.why}  {cite(lookalike.grade, lookalike.source)}"
            for lookalike in tube.lookalikes
        ]
    return lines


def _source(name: str) -> str:
    source = library.sources().get(name)
    if source is None:
        return name
    return ", ".join(
        text
        for text in (
            source.who,
            source.title,
            source.date,
            source.page,
            source.address,
            source.obtained,
        )
        if text
    )


def _words(name: str) -> str:
    """Return a figure's name without its unit: ``plate_volts`` is shown as "plate"; a mu stays a
    mu.
    """
    shown = name.replace("_", " ")
    for unit in (" volts", " amps", " watts", " ohms", " siemens", " farads", " seconds"):
        shown = shown.replace(unit, "", 1) if not shown.startswith(unit.strip()) else shown
    return shown


def _shown(figure: Figure) -> str:
    """Return a figure with the multiplier a technician would write."""
    if figure.unit == "1":
        return f"{figure.value:g}"
    return shown(figure.value, figure.unit, 6)
