"""The relatives of every tube of a circuit for a terminal, computed at the new B+."""

from __future__ import annotations

from rework.commands.relatives_words import curves_word, heater_words, kilo, pins_word, socket_lines
from rework.report.figures import shown
from rework.report.terminal import printable, styled, table
from rework.solve.stress_words import rating_words, stress_name, unrated_words
from rework.supply.exchange import Exchange, StringPlace, TypeInPlace
from rework.supply.stage import StageLoad
from rework.supply.surge import SurgeResistor
from rework.tubes.figure import TRUST
from rework.tubes.relatives import SAME_CURVES

CAUTION = (
    "Figures from the library and the netlist as written, idle, without ripple. Look up what is"
    " marked from memory before you buy, and measure the first switch-on: plate, screen and cathode"
    " volts."
)

_CHOICE = ("", "type", "curves", "heater", "pins", "watts out", "gain", "inside its ratings")
_IDLE = ("", "idle", "plate V", "mA", "plate W", "screen V", "screen W")


def exchange_text(exchange: Exchange, choice: dict[str, str]) -> str:
    """Return the candidates of every tube of the string with their numbers, what each needs, and
    the B+ that needs nothing more.
    """
    out = [
        styled(printable(exchange.title), "bold"),
        f"B+ {_v(exchange.volts)} ({exchange.origin}"
        + (
            f"; {_v(exchange.found)} as found"
            if exchange.found is not None and exchange.origin != "as found"
            else ""
        )
        + ")",
    ]
    if exchange.found is None:
        out.append(f"B+ and watts as found are not computed: {exchange.found_why}")
    if exchange.watts_before is not None:
        out.append(
            f"As found: {shown(exchange.watts_before, 'W')} at the onset of clipping."
            + (
                f" As the job leaves it: {shown(exchange.watts_after, 'W')}."
                if exchange.watts_after is not None
                else ""
            )
        )
    for place in exchange.places:
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
                table(_choices(place, choice)),
                "",
                table(_idle(place)),
                *(
                    line
                    for number, candidate in enumerate(place.candidates, 1)
                    for line in _needs(number, candidate, exchange, place)
                ),
            ]
    out += [line for resistor in exchange.surge for line in ("", *_surge_lines(resistor))]
    return "\n".join([*out, "", *_verdict(exchange, choice), "", CAUTION])


def _surge_lines(surge: SurgeResistor) -> list[str]:
    """Return what resistor a rectifier needs, and the step of a job that fits it."""
    what = (
        "selenium, may be exchanged for silicon"
        if surge.kind == "selenium"
        else "silicon with no resistor in its lead"
    )
    return [
        styled(f"{surge.part}: {what}", "bold"),
        f"  without a resistor silicon gives {_v(surge.bplus_without)} of B+; the aim is"
        f" {_v(surge.aim)}, {surge.why}",
        f"  {kilo(surge.ohms)} {surge.watts:g} W gives {_v(surge.bplus)} (computed"
        f" {kilo(surge.exact_ohms)}): {surge.step}",
    ]


def _choices(place: StringPlace, choice: dict[str, str]) -> list[tuple[str, ...]]:
    """Return the candidates with what each makes of the set."""
    fitted = choice.get(place.part)
    rows: list[tuple[str, ...]] = [_CHOICE]
    for number, candidate in enumerate(place.candidates, 1):
        type_ = candidate.stand_in.new.type
        gain = (
            f"{float(f'{candidate.gain:.3g}'):g}"
            if candidate.gain is not None
            else _no_figure(candidate)
        )
        rows.append(
            (
                str(number),
                type_ + ("*" if fitted == type_ else ""),
                curves_word(candidate.stand_in),
                heater_words(candidate.stand_in.way.volts.value, candidate.stand_in.way.amps.value),
                pins_word(candidate.stand_in),
                *(
                    (_watts(candidate), gain, "yes" if candidate.fits else "NO")
                    if candidate.chosen
                    else ("-", "-", "not computed")
                ),
            )
        )
    return rows


def _idle(place: StringPlace) -> list[tuple[str, ...]]:
    """Return where each candidate idles, a row for each unit in its bulb."""
    rows: list[tuple[str, ...]] = [_IDLE]
    for number, candidate in enumerate(place.candidates, 1):
        for n, point in enumerate(candidate.chosen):
            unit = f" {point.unit}" if point.unit else ""
            rows.append(
                (
                    str(number) if n == 0 else "",
                    f"{candidate.stand_in.new.type}{unit}",
                    _v(point.plate_volts),
                    f"{point.plate_amps * 1e3:.3g}",
                    _of(point.plate_watts, point.plate_watts_rating),
                    _v(point.screen_volts),
                    _of(point.screen_watts, point.screen_watts_rating),
                )
            )
    return rows


def _v(value: float | None) -> str:
    return "-" if value is None else f"{value:.0f} V" if value >= 100 else f"{value:.3g} V"


def _watts(candidate: TypeInPlace) -> str:
    return _no_figure(candidate) if candidate.watts is None else f"{candidate.watts:.3g} W"


def _no_figure(candidate: TypeInPlace) -> str:
    """Return why a candidate has no watts and gain of its own: it changes none, or has none."""
    return "-" if candidate.unsolved else "unchanged"


def _of(value: float | None, limit: float | None) -> str:
    if value is None:
        return "-"
    return (
        f"{'<0.001' if 0 < value < 0.001 else f'{value:.2g}'} of"
        f" {'?' if limit is None else f'{limit:g}'}"
    )


def _needs(
    number: int, candidate: TypeInPlace, exchange: Exchange, place: StringPlace
) -> list[str]:
    """Return what else must change for one candidate, a line each."""
    if candidate.unsolved and not candidate.chosen:
        return [f"  {number}. {candidate.stand_in.new.type}: not computed. {candidate.unsolved}"]
    said = (
        [] if candidate.stand_in.standing.word == SAME_CURVES else [candidate.stand_in.standing.why]
    )
    said += socket_lines(candidate.stand_in)
    said += _resistor_lines(candidate)
    said += _rating_lines(candidate, exchange.volts)
    said += [
        f"its grid leak is {kilo(leak.ohms)}, at most {kilo(leak.most)} is allowed with {leak.way}"
        for leak in candidate.leaks
        if leak.most is not None and leak.ohms > 1.001 * leak.most
    ]
    if candidate.load is not None:
        said += _load_lines(candidate.load)
    elif place.output:
        said.append(
            "what load its transformer gives was not judged: push-pull, a triode, or no load"
            " written down"
        )
    if candidate.unsolved:
        said.append(f"watts not computed: {candidate.unsolved}")
    return [
        f"  {number}. {candidate.stand_in.new.type}: {said[0] if said else 'nothing else changes'}",
        *(f"     {line}" for line in said[1:]),
    ]


def _resistor_lines(candidate: TypeInPlace) -> list[str]:
    """Return the resistors to fit, and what a type of the same curves exceeds with the old."""
    lines = []
    for fit in candidate.fit:
        watts = f" {fit.watts:g} W" if fit.watts else ""
        lines.append(
            f"fit {fit.part} {kilo(fit.ohms)}{watts} ({fit.series}) in place of"
            f" {kilo(fit.old_ohms)}"
            if fit.old_ohms is not None
            else (
                f"fit a {kilo(fit.ohms)}{watts} resistor before the {fit.part}, and a"
                " capacitor from there to the cathode"
            )
        )
    if candidate.fit and candidate.stand_in.standing.word == SAME_CURVES:
        over = "; ".join(
            f"{rating_words(stress)} {stress.amount:.3g} of {stress.rating:g} {stress.unit}"
            for point in candidate.kept
            for stress in point.over
        )
        lines.append(f"with the old resistors: {over}")
    return lines


def _rating_lines(candidate: TypeInPlace, volts: float) -> list[str]:
    """Return the ratings exceeded or unknown at a B+ of ``volts``, and the B+ it stands."""
    lines = []
    for point in candidate.chosen:
        lines += [
            f"OVER: {rating_words(stress)} {stress.amount:.3g} {stress.unit}, at most"
            f" {stress.rating:g} {stress.unit}"
            for stress in point.over
        ]
        lines += [
            f"no rating known: {rating_words(stress)}"
            + (f" of the {point.unit}" if point.unit else "")
            for stress in point.unrated
        ]
    if candidate.most_volts is not None and (
        not candidate.fits or candidate.most_volts < 1.1 * volts
    ):
        lines.append(
            f"inside its ratings up to {candidate.most_volts:.0f} V of B+"
            + (" with these resistors" if candidate.fit else "")
        )
    return lines


def _load_lines(load: StageLoad) -> list[str]:
    wants = (
        f"; the {load.of} needs {kilo(load.printed)} at {load.at_volts:g} V"
        f" ({TRUST.get(load.grade, load.grade)})"
        if load.printed is not None
        else "; no row of it prints a load"
    )
    what = f"{load.transformer} gives it {kilo(load.presented)}{wants}"
    if load.suits is not False:
        return [what]
    best = (
        f": about {load.stage_watts:.2g} W from the stage, {load.best_watts:.2g} W into"
        f" {kilo(load.best)}"
        if load.best and load.best_watts and load.stage_watts
        else ""
    )
    return [f"{load.transformer} DOES NOT SUIT: {what}{best}"]


def _verdict(exchange: Exchange, choice: dict[str, str]) -> list[str]:
    types = [f"{name} {type_}" for name, type_ in exchange.fitted]
    heaters = (
        f"Heaters together: {exchange.heater_volts:g} V {exchange.heater_amps:.3g} A."
        if types
        else "No tube of the string has a relative for that heater."
    )
    marked = ["* what the job fits."] if choice else []
    most = exchange.ratings.most_volts
    first = next((limit for limit in exchange.ratings.limits if limit.volts is not None), None)
    out = [*marked, heaters]
    with_ = (
        f"With {', '.join(types)} in and nothing more renewed" if types else "With nothing renewed"
    )
    if first is None:
        return [
            *out,
            f"{with_}, no part reaches its rating up to {exchange.ratings.top:.0f} V of B+.",
        ]
    out.append(
        f"{with_}, B+ may be {most:.0f} V: above that {stress_name(first.stress)} is over its"
        f" {first.rating:g} {first.stress.unit} ({rating_words(first.stress)})."
    )
    if exchange.uprate:
        out.append(f"At {_v(exchange.volts)} these must be uprated, or B+ be lowered:")
        out += _uprate_lines(exchange)
    else:
        out.append(f"At {_v(exchange.volts)} nothing is over its rating.")
    out.append(
        "A supply rises above that while the tubes are cold. rework supply and rework volts compute"
        " by how much."
    )
    if exchange.ratings.unrated:
        out.append(
            "The file or the library states no rating for: "
            + ", ".join(map(unrated_words, exchange.ratings.unrated))
        )
    return out


def _uprate_lines(exchange: Exchange) -> list[str]:
    """Return the parts over their rating at the new B+ as the lines of a table."""
    rows = [
        (
            stress_name(limit.stress),
            rating_words(limit.stress),
            f"{limit.stress.amount:.3g} {limit.stress.unit}",
            f"{limit.rating:g} {limit.stress.unit}",
            f"{limit.volts:.0f} V" if limit.volts is not None else "-",
        )
        for limit in exchange.uprate
    ]
    lines = table([("part", "what", "is", "rated", "up to B+"), *rows]).split("\n")
    return ["  " + line for line in lines]
