"""``rework relatives``: what may go where a tube is, from the library alone, or computed in a
circuit at the new B+.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from rework.circuit.place import Problem
from rework.commands.arguments import takes_json
from rework.commands.subject import subject
from rework.language.files import STANDARD, Refusal
from rework.report.figures import shown
from rework.report.terminal import printable, progress, styled, table
from rework.tubes import library
from rework.tubes.figure import TRUST
from rework.tubes.relatives import (
    PARALLEL_VOLTS,
    SAME_CURVES,
    PinMoves,
    StandIn,
    cathode_ohms,
    stand_ins,
)
from rework.tubes.tubetype import TubeType

if TYPE_CHECKING:
    from rework.supply.surge import SurgeResistor

CAUTION = (
    "Figures from the library and the netlist as written, idle, without ripple. Look up what is"
    " marked from memory before you buy, and measure the first switch-on: plate, screen and cathode"
    " volts."
)

EXAMPLE = "rework relatives 50C5"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument(
        "what",
        metavar="TYPE|FILE",
        help=(
            "a tube type; or a .circuit or .job file: every tube of its heater string, computed in"
            " the circuit; - reads a circuit from standard input"
        ),
    )
    parser.add_argument(
        "--bplus",
        metavar="VOLTS",
        help="the B+ to compute at, as in 180V (default: that of the job's supply, else as found)",
    )
    parser.add_argument(
        "--heater", metavar="VOLTS", help="the heater volts to look for (default: 6.3V)"
    )
    takes_json(parser)


def run(asked: argparse.Namespace) -> int:
    """Print the relatives of a type, or of every tube of a circuit; return 0."""
    heater = _volts(asked.heater, "--heater") if asked.heater else PARALLEL_VOLTS
    if (
        asked.what == STANDARD
        or Path(asked.what).suffix in (".circuit", ".job", ".rule")
        or Path(asked.what).is_file()
    ):
        found, choice = _in_circuit(asked, heater)
        if asked.json:
            from rework.commands.answers.shape import json_text
            from rework.commands.answers.tubes import exchanges_answer

            print(json_text(exchanges_answer(found, choice)))
        else:
            print(exchange_text(found, choice))
        return 0
    if asked.bplus:
        raise Refusal(
            Problem(
                "--bplus is for a circuit or a job; of a type alone the printed rows are told",
                hint="name a .circuit or .job file",
            )
        )
    tube = library.find(asked.what)
    if tube is None:
        near = library.nearest(asked.what)
        raise Refusal(
            Problem(
                f"{asked.what} is neither a type in the tube library nor a .circuit or .job file",
                expected="a type that rework tubes lists, or a file",
                hint="did you mean " + " or ".join(near) + "?" if near else "",
            )
        )
    found = stand_ins(tube, volts=heater)
    if asked.json:
        from rework.commands.answers.shape import json_text
        from rework.commands.answers.tubes import relatives_answer

        print(json_text(relatives_answer(tube, found)))
    else:
        print(type_text(tube, found, heater))
    return 0


def _volts(text: str, option: str) -> float:
    """Return the volts of an option.

    Raises Refusal where it is no voltage, or one that no such set has.
    """
    from rework.language.quantity import QuantityError, read_value

    try:
        value = read_value(text)
    except QuantityError:
        value = None
    if value is None or value.dimension != "voltage" or not 1 <= value.amount <= 1000:
        raise Refusal(
            Problem(
                f"{option} {text} is no voltage", expected="volts between 1 and 1000, as in 180V"
            )
        )
    return value.amount


# a type alone


def type_text(tube: TubeType, found: tuple[StandIn, ...], heater: float) -> str:
    """Return the ranking of a type's relatives from the library alone, and what each changes."""
    out = [
        styled(
            f"{tube.type}  {tube.kind}  {_heater(tube.heater.volts.value, tube.heater.amps.value)} "
            f" {tube.base}",
            "bold",
        )
    ]
    if tube.is_rectifier:
        out.append("A rectifier: it leaves with the old supply, and the new one brings its own.")
    if not found:
        return "\n".join(
            [*out, "Nothing in the library is related to it: work the stage out anew."]
        )
    fit = [one for one in found if abs(one.way.volts.value - heater) <= 0.1 * heater]
    if not fit:
        out.append(
            f"Nothing with a heater for {heater:g} V is related to it: work the stage out anew, or"
            " feed one of these another voltage."
        )
    told = [one for one in found if one in fit or one.standing.word == SAME_CURVES]
    rows = [
        (
            "",
            "type",
            "curves",
            "heater",
            "pins",
            "plate, screen W",
            "plate, screen V",
            "load printed",
            "cathode",
        )
    ]
    rows += [
        (
            str(number),
            one.new.type,
            _curves(one),
            _heater(one.way.volts.value, one.way.amps.value),
            _pins_short(one),
            _pair(one.new, "watts"),
            _pair(one.new, "volts"),
            _loads(one),
            _cathode(one),
        )
        for number, one in enumerate([_itself(tube), *told])
    ]
    out += ["", table(rows), ""]
    for number, one in enumerate(told, 1):
        out.append(f"{number}. {one.new.type}: {one.standing.why}")
        out += [f"     {line}" for line in _socket_lines(one)]
    if len(told) < len(found):
        out.append(
            "Other curves and another heater:"
            f" {', '.join(one.new.type for one in found if one not in told)}."
        )
    used = {
        one.new.type: (
            {figure.grade for figure in one.new.ratings.values()}
            | {row.grade for row in one.loads}
            | {one.way.volts.grade}
        )
        for one in told
    }
    weak = [name for name, grades in used.items() if "memory" in grades]
    if weak:
        out += [
            "",
            (
                f"From memory at least in part: {', '.join(weak)}. rework tubes TYPE says which"
                " figure is from where."
            ),
        ]
    return "\n".join(out)


def _itself(tube: TubeType) -> StandIn:
    from rework.tubes.relatives import Standing, load_rows, pin_moves

    way = min(tube.heater.ways, key=lambda way: abs(way.volts.value - tube.heater.volts.value))
    return StandIn(
        tube, tube, Standing(SAME_CURVES, ""), "", way, pin_moves(tube, tube), *load_rows(tube)
    )


def _curves(one: StandIn) -> str:
    return (
        "itself"
        if one.old is one.new and not one.standing.why
        else "same"
        if one.standing.word == SAME_CURVES
        else "OTHER"
    )


def _heater(volts: float, amps: float) -> str:
    return f"{volts:g} V {amps:g} A"


def _pins_short(one: StandIn) -> str:
    return "other socket" if one.socket_changes else "stay" if one.moves.same_pins else "MOVE"


def _pair(tube: TubeType, what: str) -> str:
    """Return the plate and the screen rating, of the pentode in a bulb with two units."""
    unit = next((f"{unit}." for unit in tube.units if f"{unit}.screen_{what}" in tube.ratings), "")
    found = [
        tube.ratings.get(f"{unit}{name}_{what}") or tube.ratings.get(f"{name}_{what}")
        for name in ("plate", "screen")
    ]
    return (
        ", ".join(f"{figure.value:g}" if figure else "-" for figure in found) if any(found) else "-"
    )


def _loads(one: StandIn) -> str:
    from itertools import groupby

    told = sorted({(row["plate_volts"].value, row["load_ohms"].value) for row in one.loads})
    best = [next(iter(rows)) for _, rows in groupby(told, key=lambda row: row[0])]
    words = ", ".join(f"{_k(load)} at {volts:g} V" for volts, load in best[:2])
    return (words + (f" ({one.loads_of})" if one.loads_of != one.new.type else "")) or "-"


def _cathode(one: StandIn) -> str:
    found = [
        f"{_k(ohms)} at {row['plate_volts'].value:g} V"
        for row in one.loads[:2]
        if (ohms := cathode_ohms(row))
    ]
    return ", ".join(dict.fromkeys(found)) or "-"


def _k(ohms: float) -> str:
    return (
        f"{ohms / 1e6:.3g}M"
        if ohms >= 999_500
        else f"{ohms / 1e3:.3g}k"
        if ohms >= 1000
        else f"{ohms:.3g} ohm"
    )


def _socket_lines(one: StandIn) -> list[str]:
    """Return what moves at the socket, and how the heater is fed where that is not the ordinary
    way.
    """
    said = []
    if one.socket_changes:
        said.append(f"another socket: {one.new.base} in place of {one.old.base}")
    said += _moves(one.moves)
    ways = len(one.new.heater.ways)
    if ways > 1:
        ends = " and ".join(
            "+".join(sorted(side, key=lambda pin: (len(pin), pin))) for side in one.way.between
        )
        said.append(
            f"heater: {one.way.volts.value:g} V {one.way.amps.value:g} A between pins {ends} (rule"
            " rewire-tapped-heater)"
        )
    return said


def _moves(moves: PinMoves) -> list[str]:
    said = [
        f"{move.element} from pin {'+'.join(move.old)} to {'+'.join(move.new)}"
        for move in moves.moves
    ]
    out = ["moves: " + "; ".join(said)] if said else []
    out += [f"has no {name}" for name in moves.missing]
    out += [f"has a {name} more" for name in moves.added]
    out += (
        [
            f"pin{'s' if len(moves.taken) > 1 else ''} {', '.join(moves.taken)}, free until now,"
            f" {'are' if len(moves.taken) > 1 else 'is'} taken: clear what is tied there"
        ]
        if moves.taken
        else []
    )
    return out


# in a circuit


def _in_circuit(asked: argparse.Namespace, heater: float):
    from rework.solve.network import CannotSolve
    from rework.supply.exchange import exchanges
    from rework.supply.feed import feed_of, found_volts

    about = subject(asked.what)
    run, circuit = about.run, next(iter(about.circuits.values()))
    try:
        feed = feed_of(circuit)
        try:
            found, why = found_volts(circuit, feed), ""
        except CannotSolve as error:
            found, why = None, str(error)
        volts, origin = _volts(asked.bplus, "--bplus") if asked.bplus else None, "as you asked"
        if volts is None and run is not None:
            volts, origin = _job_volts(run), "what the supply of the job gives"
        if volts is None:
            volts, origin = found, "as found"
        if volts is None:
            raise Refusal(
                Problem(
                    f"the B+ as found is not known: {why}",
                    hint="say which B+ the new supply is to give, as in --bplus 180V",
                )
            )
        choice = _choices(run)
        with progress("tubes", sum(part.kind == "tube" for part in circuit.parts)) as bar:
            return (
                exchanges(
                    circuit,
                    feed,
                    volts,
                    origin=origin,
                    found=found,
                    found_why=why,
                    heater=heater,
                    choice=choice,
                    after=run.after if run else None,
                    step=bar.update,
                ),
                choice,
            )
    except CannotSolve as error:
        raise Refusal(*error.problems) from error


def _job_volts(run) -> float | None:
    """Return the B+ of a job's finished set between the nodes its supply is attached to; None where
    no supply is, or it has no numbers.
    """
    from rework.language.job import Attach
    from rework.solve.assemble import assemble
    from rework.solve.network import CannotSolve
    from rework.solve.periodic import mains_steady

    ports = next(
        (
            dict(step.ports)
            for step in run.job.steps
            if isinstance(step, Attach) and {"bplus", "common"} <= dict(step.ports).keys()
        ),
        None,
    )
    if ports is None:
        return None
    try:
        network = assemble(run.after)
        mean = mains_steady(network).mean
        return float(network.volts(mean, ports["bplus"]) - network.volts(mean, ports["common"]))
    except (CannotSolve, KeyError):
        return None


def _choices(run) -> dict[str, str]:
    """Return the type that a job puts in for each tube it exchanges."""
    from rework.circuit.edits import ExchangeTube

    return (
        {
            edit.action.name: edit.action.type
            for edit in run.edits
            if isinstance(edit.action, ExchangeTube)
        }
        if run
        else {}
    )


def exchange_text(found, choice: dict[str, str]) -> str:
    """Return the candidates of every tube of the string with their numbers, what each needs, and
    the B+ that needs nothing more.
    """
    out = [
        styled(printable(found.title), "bold"),
        f"B+ {_v(found.volts)} ({found.origin}"
        + (
            f"; {_v(found.found)} as found"
            if found.found is not None and found.origin != "as found"
            else ""
        )
        + ")",
    ]
    if found.found is None:
        out.append(f"B+ and watts as found are not computed: {found.found_why}")
    if found.watts_before is not None:
        out.append(
            f"As found: {shown(found.watts_before, 'W')} at the onset of clipping."
            + (
                f" As the job leaves it: {shown(found.watts_after, 'W')}."
                if found.watts_after is not None
                else ""
            )
        )
    for place in found.places:
        out += [
            "",
            styled(
                f"{' and '.join((place.part, *place.partners))} {place.type}"
                + (", output stage" if place.output else ""),
                "bold",
            )
            + (f": {place.why}" if place.why else ""),
        ]
        if place.candidates:
            out += [
                table(_rows(place, choice)),
                *(
                    line
                    for number, one in enumerate(place.candidates, 1)
                    for line in _needs(number, one, found, place)
                ),
            ]
    out += [line for resistor in found.surge for line in ("", *_surge_lines(resistor))]
    return "\n".join([*out, "", *_verdict(found, choice), "", CAUTION])


def _surge_lines(one: SurgeResistor) -> list[str]:
    """Return what resistor a rectifier wants, and the step of a job that fits it."""
    what = (
        "selenium, may be exchanged for silicon"
        if one.kind == "selenium"
        else "silicon with no resistor in its lead"
    )
    return [
        styled(f"{one.part}: {what}", "bold"),
        f"  without a resistor silicon gives {_v(one.bplus_without)} of B+; aimed at"
        f" {_v(one.aim)}, {one.why}",
        f"  {_k(one.ohms)} {one.watts:g} W gives {_v(one.bplus)} (computed"
        f" {_k(one.exact_ohms)}): {one.step}",
    ]


def _rows(place, choice: dict[str, str]) -> list[tuple[str, ...]]:
    rows = [
        (
            "",
            "type",
            "curves",
            "heater",
            "pins",
            "plate V",
            "mA",
            "plate W",
            "screen V",
            "screen W",
            "watts out",
            "gain",
            "stays inside",
        )
    ]
    for number, one in enumerate(place.candidates, 1):
        name = one.stand_in.new.type + (
            "*" if choice.get(place.part) == one.stand_in.new.type else ""
        )
        head = (
            str(number),
            name,
            _curves(one.stand_in),
            _heater(one.stand_in.way.volts.value, one.stand_in.way.amps.value),
            _pins_short(one.stand_in),
        )
        if not one.chosen:
            rows.append((*head, *["-"] * 7, "not computed"))
            continue
        for n, point in enumerate(one.chosen):
            last = (
                (
                    _watts(one.watts),
                    f"{float(f'{one.gain:.3g}'):g}" if one.gain is not None else "unchanged",
                )
                if n == 0
                else ("", "")
            )
            row = (
                _v(point.plate_volts),
                f"{point.plate_amps * 1e3:.3g}",
                _of(point.plate_watts, point.plate_watts_rating),
                _v(point.screen_volts),
                _of(point.screen_watts, point.screen_watts_rating),
                *last,
                ("yes" if one.fits else "NO") if n == 0 else "",
            )
            rows.append((*(head if n == 0 else ("", point.unit, "", "", "")), *row))
    return rows


def _v(value: float | None) -> str:
    return "-" if value is None else f"{value:.0f} V" if value >= 100 else f"{value:.3g} V"


def _watts(value: float | None) -> str:
    return "unchanged" if value is None else f"{value:.3g} W"


def _of(value: float | None, limit: float | None) -> str:
    if value is None:
        return "-"
    return (
        f"{'<0.001' if 0 < value < 0.001 else f'{value:.2g}'} of"
        f" {'?' if limit is None else f'{limit:g}'}"
    )


def _needs(number: int, one, found, place) -> list[str]:
    """Return what else must change for one candidate, a line each."""
    if one.unsolved and not one.chosen:
        return [f"  {number}. {one.stand_in.new.type}: not computed. {one.unsolved}"]
    said = [] if one.stand_in.standing.word == SAME_CURVES else [one.stand_in.standing.why]
    said += _socket_lines(one.stand_in)
    for fit in one.fit:
        watts = f" {fit.watts:g} W" if fit.watts else ""
        said.append(
            f"fit {fit.part} {_k(fit.ohms)}{watts} ({fit.series}) in place of {_k(fit.old_ohms)}"
            if fit.old_ohms is not None
            else (
                f"fit a {_k(fit.ohms)}{watts} resistor before the {fit.part}, and a capacitor from"
                " there to the cathode"
            )
        )
    if one.fit and one.stand_in.standing.word == SAME_CURVES:
        over = "; ".join(
            f"{what} {value:.3g} of {limit:g} {unit}"
            for point in one.kept
            for what, value, unit, limit in point.over
        )
        said.append(f"with the old resistors: {over}")
    for point in one.chosen:
        said += [
            f"OVER: {what} {value:.3g} {unit}, at most {limit:g} {unit}"
            for what, value, unit, limit in point.over
        ]
        said += [
            f"no rating known: {what}{' of the ' + point.unit if point.unit else ''}"
            for what in point.unrated
        ]
    if one.most_volts is not None and (not one.fits or one.most_volts < 1.1 * found.volts):
        said.append(
            f"inside its ratings up to {one.most_volts:.0f} V of B+"
            + (" with these resistors" if one.fit else "")
        )
    said += [
        f"its grid leak is {_k(leak.ohms)}, at most {_k(leak.most)} is allowed with {leak.way}"
        for leak in one.leaks
        if leak.most is not None and leak.ohms > 1.001 * leak.most
    ]
    if one.load is not None:
        said += _load_lines(one.load)
    elif place.output:
        said.append(
            "what load its transformer gives was not judged: push-pull, a triode, or no load"
            " written down"
        )
    if one.unsolved:
        said.append(f"watts not computed: {one.unsolved}")
    return [
        f"  {number}. {one.stand_in.new.type}: {said[0] if said else 'nothing else changes'}",
        *(f"     {line}" for line in said[1:]),
    ]


def _load_lines(load) -> list[str]:
    wants = (
        f"; the {load.of} wants {_k(load.printed)} at {load.at_volts:g} V"
        f" ({TRUST.get(load.grade, load.grade)})"
        if load.printed is not None
        else "; no row of it prints a load"
    )
    what = f"{load.transformer} gives it {_k(load.presented)}{wants}"
    if load.suits is not False:
        return [what]
    best = (
        f": about {load.stage_watts:.2g} W from the stage, {load.best_watts:.2g} W into"
        f" {_k(load.best)}"
        if load.best_watts and load.stage_watts
        else ""
    )
    return [f"{load.transformer} DOES NOT SUIT: {what}{best}"]


def _verdict(found, choice: dict[str, str]) -> list[str]:
    types = [f"{name} {type_}" for name, type_ in found.fitted]
    heaters = (
        f"Heaters together: {found.heater_volts:g} V {found.heater_amps:.3g} A."
        if types
        else "No tube of the string has a relative for that heater."
    )
    marked = ["* what the job fits."] if choice else []
    most = found.ratings.most_volts
    first = next((one for one in found.ratings.limits if one.volts is not None), None)
    out = [*marked, heaters]
    with_ = (
        f"With {', '.join(types)} in and nothing more renewed" if types else "With nothing renewed"
    )
    if first is None:
        return [
            *out,
            f"{with_}, no part comes to its rating up to {found.ratings.top:.0f} V of B+.",
        ]
    out.append(
        f"{with_}, B+ may be {most:.0f} V: above that {first.part} is over its {first.rating:g}"
        f" {first.unit} ({first.what})."
    )
    if found.uprate:
        out.append(f"At {_v(found.volts)} these must be uprated, or B+ be lowered:")
        out += [
            "  " + line
            for line in table(
                [
                    ("part", "what", "is", "rated", "up to B+"),
                    *(
                        (
                            one.part,
                            one.what,
                            f"{one.value:.3g} {one.unit}",
                            f"{one.rating:g} {one.unit}",
                            f"{one.volts:.0f} V" if one.volts is not None else "-",
                        )
                        for one in found.uprate
                    ),
                ]
            ).split("\n")
        ]
    else:
        out.append(f"At {_v(found.volts)} nothing is over its rating.")
    out.append(
        "A supply rises above that while the tubes are cold: rework supply and rework volts tell"
        " how far."
    )
    if found.ratings.unrated:
        out.append(
            "The file or the library states no rating for: " + ", ".join(found.ratings.unrated)
        )
    return out
