"""The relatives of a type for a terminal: the ranking from the library alone."""

from __future__ import annotations

from rework.report.terminal import styled, table
from rework.tubes.relatives import SAME_CURVES, PinMoves, StandIn, cathode_ohms
from rework.tubes.tubetype import TubeType


def type_text(tube: TubeType, others: tuple[StandIn, ...], heater: float) -> str:
    """Return the ranking of a type's relatives from the library alone, and what each changes."""
    out = [
        styled(
            f"{tube.type}  {tube.kind}"
            f"  {heater_words(tube.heater.volts.value, tube.heater.amps.value)}  {tube.base}",
            "bold",
        )
    ]
    if tube.is_rectifier:
        out.append("A rectifier: it is removed with the old supply; the new supply has its own.")
    if not others:
        return "\n".join([*out, "Nothing in the library is related to it: redesign the stage."])
    fit = [
        stand_in for stand_in in others if abs(stand_in.way.volts.value - heater) <= 0.1 * heater
    ]
    if not fit:
        out.append(
            f"Nothing with a heater for {heater:g} V is related to it: redesign the stage, or feed"
            " one of these another voltage."
        )
    stand_ins = [
        stand_in for stand_in in others if stand_in in fit or stand_in.standing.word == SAME_CURVES
    ]
    out += ["", table(_ranking(tube, stand_ins)), ""]
    for number, stand_in in enumerate(stand_ins, 1):
        out.append(f"{number}. {stand_in.new.type}: {stand_in.standing.why}")
        out += [f"     {line}" for line in socket_lines(stand_in)]
    if len(stand_ins) < len(others):
        out.append(
            "Other curves and another heater:"
            f" {', '.join(stand_in.new.type for stand_in in others if stand_in not in stand_ins)}."
        )
    weak = _from_memory(stand_ins)
    if weak:
        out += [
            "",
            (
                f"From memory at least in part: {', '.join(weak)}. rework tubes TYPE says which"
                " figure is from where."
            ),
        ]
    return "\n".join(out)


def _ranking(tube: TubeType, stand_ins: list[StandIn]) -> list[tuple[str, ...]]:
    """Return the table of a type, row 0, and its relatives."""
    head = (
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
    rows = [
        (
            str(number),
            stand_in.new.type,
            curves_word(stand_in),
            heater_words(stand_in.way.volts.value, stand_in.way.amps.value),
            pins_word(stand_in),
            _pair(stand_in.new, "watts"),
            _pair(stand_in.new, "volts"),
            _loads(stand_in),
            _cathode(stand_in),
        )
        for number, stand_in in enumerate([_itself(tube), *stand_ins])
    ]
    return [head, *rows]


def _from_memory(stand_ins: list[StandIn]) -> list[str]:
    """Return the types of which a rating, a load or the heater is from memory."""
    used = {
        stand_in.new.type: (
            {figure.grade for figure in stand_in.new.ratings.values()}
            | {row.grade for row in stand_in.loads}
            | {stand_in.way.volts.grade}
        )
        for stand_in in stand_ins
    }
    return [name for name, grades in used.items() if grades & {"memory", "estimated"}]


def _itself(tube: TubeType) -> StandIn:
    from rework.tubes.relatives import Standing, load_rows, pin_moves

    feed = min(tube.heater.ways, key=lambda feed: abs(feed.volts.value - tube.heater.volts.value))
    return StandIn(
        tube, tube, Standing(SAME_CURVES, ""), "", feed, pin_moves(tube, tube), *load_rows(tube)
    )


def curves_word(stand_in: StandIn) -> str:
    """Return whether a type has the same curves."""
    return (
        "itself"
        if stand_in.old is stand_in.new and not stand_in.standing.why
        else "same"
        if stand_in.standing.word == SAME_CURVES
        else "OTHER"
    )


def heater_words(volts: float, amps: float) -> str:
    """Return a heater's volts and amps."""
    return f"{volts:g} V {amps:g} A"


def pins_word(stand_in: StandIn) -> str:
    """Return whether pins move."""
    return (
        "other socket"
        if stand_in.socket_changes
        else "stay"
        if stand_in.moves.same_pins
        else "MOVE"
    )


def _pair(tube: TubeType, what: str) -> str:
    """Return the plate and the screen rating, of the pentode in a bulb with two units."""
    unit = next((f"{unit}." for unit in tube.units if f"{unit}.screen_{what}" in tube.ratings), "")
    figures = [
        tube.ratings.get(f"{unit}{name}_{what}") or tube.ratings.get(f"{name}_{what}")
        for name in ("plate", "screen")
    ]
    return (
        ", ".join(f"{figure.value:g}" if figure else "-" for figure in figures)
        if any(figures)
        else "-"
    )


def _loads(stand_in: StandIn) -> str:
    from itertools import groupby

    loads = sorted({(row["plate_volts"].value, row["load_ohms"].value) for row in stand_in.loads})
    best = [next(iter(rows)) for _, rows in groupby(loads, key=lambda row: row[0])]
    words = ", ".join(f"{kilo(load)} at {volts:g} V" for volts, load in best[:2])
    return (
        words + (f" ({stand_in.loads_of})" if stand_in.loads_of != stand_in.new.type else "")
    ) or "-"


def _cathode(stand_in: StandIn) -> str:
    resistors = [
        f"{kilo(ohms)} at {row['plate_volts'].value:g} V"
        for row in stand_in.loads[:2]
        if (ohms := cathode_ohms(row))
    ]
    return ", ".join(dict.fromkeys(resistors)) or "-"


def kilo(ohms: float) -> str:
    """Return ohms as a netlist has them, with k or M."""
    return (
        f"{ohms / 1e6:.3g}M"
        if ohms >= 999_500
        else f"{ohms / 1e3:.3g}k"
        if ohms >= 1000
        else f"{ohms:.3g} ohm"
    )


def socket_lines(stand_in: StandIn) -> list[str]:
    """Return what moves at the socket, and how the heater is fed where that is not the ordinary
    way.
    """
    said = []
    if stand_in.socket_changes:
        said.append(f"another socket: {stand_in.new.base} in place of {stand_in.old.base}")
    said += _moves(stand_in.moves)
    ways = len(stand_in.new.heater.ways)
    if ways > 1:
        ends = " and ".join(
            "+".join(sorted(side, key=lambda pin: (len(pin), pin))) for side in stand_in.way.between
        )
        said.append(
            f"heater: {stand_in.way.volts.value:g} V {stand_in.way.amps.value:g} A between pins"
            f" {ends} (rule rewire-tapped-heater)"
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
