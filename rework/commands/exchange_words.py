"""The relatives of every tube of a circuit, computed at the new B+, in words and tables."""

from __future__ import annotations

from rework.commands.relatives_words import curves_word, heater_words, kilo, pins_word, socket_lines
from rework.report.cells import Amount, ShownFigure
from rework.report.figures import shown
from rework.report.story import Block, Headline, Story, lines
from rework.report.table import Cell, Column, Table
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

_CHOICE = (
    Column("", "figure"),
    Column("type", "name"),
    *map(Column, ("curves", "heater", "pins")),
    Column("output", "figure"),
    Column("gain", "figure"),
    Column("inside its ratings"),
)
_IDLE = (
    Column("", "figure"),
    Column("idle", "name"),
    *(Column(heading, "figure") for heading in ("plate", "plate current", "plate dissipation")),
    *(Column(heading, "figure") for heading in ("screen", "screen dissipation")),
)


def exchange_story(exchange: Exchange, choice: dict[str, str]) -> Story:
    """Return the candidates of every tube of the string with their numbers, what each needs, and
    the B+ that needs nothing more.
    """
    is_known = exchange.found is not None and exchange.origin != "as found"
    story: list[Block] = [
        Headline(exchange.title),
        *lines(
            f"B+ {_v(exchange.volts)} ({exchange.origin}"
            + (f"; {_v(exchange.found)} as found)" if is_known else ")"),
            _found_lines(exchange),
        ),
    ]
    for place in exchange.places:
        story += _place(place, exchange, choice)
    for resistor in exchange.surge:
        story += _surge(resistor)
    return (*story, *_verdict(exchange, choice), *lines(CAUTION))


def _found_lines(exchange: Exchange) -> list[str]:
    """Return what the set gives as found, or why that is not known."""
    said = []
    if exchange.found is None:
        said.append(f"B+ and watts as found are not computed: {exchange.found_why}")
    if exchange.watts_before is not None:
        said.append(
            f"As found: {shown(exchange.watts_before, 'W')} at the onset of clipping."
            + (
                f" As the job leaves it: {shown(exchange.watts_after, 'W')}."
                if exchange.watts_after is not None
                else ""
            )
        )
    return said


def _place(place: StringPlace, exchange: Exchange, choice: dict[str, str]) -> list[Block]:
    """Return the candidates for one tube, and what each of them needs."""
    heading = Headline(
        f"{' and '.join((place.part, *place.partners))} {place.type}"
        + (", output stage" if place.output else ""),
        f": {place.why}" if place.why else "",
    )
    if not place.candidates:
        return [heading]
    needs = (
        _needs(number, candidate, exchange, place)
        for number, candidate in enumerate(place.candidates, 1)
    )
    return [heading, _choices(place, choice), _idle(place), *lines(*needs, look="list")]


def _surge(surge: SurgeResistor) -> list[Block]:
    """Return what resistor a rectifier needs, and the step of a job that fits it."""
    what = (
        "selenium, may be exchanged for silicon"
        if surge.kind == "selenium"
        else "silicon with no resistor in its lead"
    )
    return [
        Headline(f"{surge.part}: {what}"),
        *lines(
            f"without a resistor silicon gives {_v(surge.bplus_without)} of B+; the aim is"
            f" {_v(surge.aim)}, {surge.why}",
            f"{kilo(surge.ohms)} {surge.watts:g} W gives {_v(surge.bplus)} (computed"
            f" {kilo(surge.exact_ohms)}): {surge.step}",
            look="list",
        ),
    ]


def _choices(place: StringPlace, choice: dict[str, str]) -> Table:
    """Return the candidates with what each makes of the set."""
    fitted = choice.get(place.part)
    rows: list[tuple[Cell, ...]] = []
    for number, candidate in enumerate(place.candidates, 1):
        type_ = candidate.stand_in.new.type
        way = candidate.stand_in.way
        heater = (Amount(way.volts.value, "V"), Amount(way.amps.value, "A"))
        rows.append(
            (
                str(number),
                type_ + ("*" if fitted == type_ else ""),
                curves_word(candidate.stand_in),
                ShownFigure(heater_words(way.volts.value, way.amps.value), *heater),
                pins_word(candidate.stand_in),
                *(
                    (_watts(candidate), _gain(candidate), "yes" if candidate.fits else "NO")
                    if candidate.chosen
                    else ("-", "-", "not computed")
                ),
            )
        )
    return Table(f"types-{place.part}", f"{place.part}: candidates", "", _CHOICE, tuple(rows))


def _idle(place: StringPlace) -> Table:
    """Return where each candidate idles, a row for each unit in its bulb."""
    rows: list[tuple[Cell, ...]] = []
    for number, candidate in enumerate(place.candidates, 1):
        for n, point in enumerate(candidate.chosen):
            unit = f" {point.unit}" if point.unit else ""
            rows.append(
                (
                    str(number) if n == 0 else "",
                    f"{candidate.stand_in.new.type}{unit}",
                    _volts(point.plate_volts),
                    ShownFigure(f"{point.plate_amps * 1e3:.3g} mA", Amount(point.plate_amps, "A")),
                    _of(point.plate_watts, point.plate_watts_rating),
                    _volts(point.screen_volts),
                    _of(point.screen_watts, point.screen_watts_rating),
                )
            )
    return Table(f"idle-{place.part}", f"{place.part}: idle figures", "", _IDLE, tuple(rows))


def _volts(value: float | None) -> Cell:
    return "-" if value is None else ShownFigure(_v(value), Amount(value, "V"))


def _gain(candidate: TypeInPlace) -> Cell:
    if candidate.gain is None:
        return _no_figure(candidate)
    return ShownFigure(f"{float(f'{candidate.gain:.3g}'):g}", Amount(candidate.gain, ""))


def _v(value: float | None) -> str:
    return "-" if value is None else f"{value:.0f} V" if value >= 100 else f"{value:.3g} V"


def _watts(candidate: TypeInPlace) -> Cell:
    if candidate.watts is None:
        return _no_figure(candidate)
    return ShownFigure(f"{candidate.watts:.3g} W", Amount(candidate.watts, "W"))


def _no_figure(candidate: TypeInPlace) -> str:
    """Return why a candidate has no watts and gain of its own: it changes none, or has none."""
    return "-" if candidate.unsolved else "unchanged"


def _of(value: float | None, limit: float | None) -> Cell:
    """Return watts and their rating."""
    if value is None:
        return "-"
    words = "<0.001" if 0 < value < 0.001 else f"{value:.2g}"
    if limit is None:
        return ShownFigure(f"{words} W, no rating known", Amount(value, "W"))
    return ShownFigure(f"{words} of {limit:g} W", Amount(value, "W"), Amount(limit, "W", "rating"))


def _needs(
    number: int, candidate: TypeInPlace, exchange: Exchange, place: StringPlace
) -> list[str]:
    """Return what else must change for one candidate, a line each."""
    if candidate.unsolved and not candidate.chosen:
        return [f"{number}. {candidate.stand_in.new.type}: not computed. {candidate.unsolved}"]
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
        f"{number}. {candidate.stand_in.new.type}: {said[0] if said else 'nothing else changes'}",
        *(f" {line}" for line in said[1:]),
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


def _verdict(exchange: Exchange, choice: dict[str, str]) -> list[Block]:
    """Return the B+ that the set with its new tubes can be given, and what must be uprated."""
    types = [f"{name} {type_}" for name, type_ in exchange.fitted]
    heaters = (
        f"Heaters together: {exchange.heater_volts:g} V {exchange.heater_amps:.3g} A."
        if types
        else "No tube of the string has a relative for that heater."
    )
    said = [*(["* what the job fits."] if choice else []), heaters, _highest(exchange, types)]
    story: list[Block] = [Headline("B+ that the parts can take"), *lines(said)]
    if all(limit.volts is None for limit in exchange.ratings.limits):
        return story
    after = [
        "A supply rises above that while the tubes are cold. rework supply and rework volts compute"
        " by how much."
    ]
    if exchange.ratings.unrated:
        after.append(
            "The file or the library states no rating for: "
            + ", ".join(map(unrated_words, exchange.ratings.unrated))
        )
    if exchange.uprate:
        return [*story, _uprate(exchange), *lines(after)]
    return [*story, *lines(f"At {_v(exchange.volts)} nothing is over its rating.", after)]


def _highest(exchange: Exchange, types: list[str]) -> str:
    """Return up to which B+ the set stays inside its ratings."""
    with_ = f"With {', '.join(types)} and no other new part" if types else "With no new part"
    first = next((limit for limit in exchange.ratings.limits if limit.volts is not None), None)
    if first is None:
        return f"{with_}, no part reaches its rating up to {exchange.ratings.top:.0f} V of B+."
    return (
        f"{with_}, B+ may be {exchange.ratings.most_volts:.0f} V: above that"
        f" {stress_name(first.stress)} is over its {first.rating:g} {first.stress.unit}"
        f" ({rating_words(first.stress)})."
    )


def _uprate(exchange: Exchange) -> Table:
    """Return the parts over their rating at the new B+."""
    return Table(
        "uprate",
        f"Over their rating at {_v(exchange.volts)}: uprate them, or lower B+",
        "",
        (
            Column("part", "name"),
            Column("rating"),
            Column("computed", "figure"),
            Column("rated", "figure"),
            Column("enough up to a B+ of", "figure"),
        ),
        tuple(
            (
                stress_name(limit.stress),
                rating_words(limit.stress),
                ShownFigure(
                    f"{limit.stress.amount:.3g} {limit.stress.unit}",
                    Amount(limit.stress.amount, limit.stress.unit),
                ),
                ShownFigure(
                    f"{limit.rating:g} {limit.stress.unit}", Amount(limit.rating, limit.stress.unit)
                ),
                _volts(None if limit.volts is None else round(limit.volts)),
            )
            for limit in exchange.uprate
        ),
        parts=tuple(limit.stress.part for limit in exchange.uprate),
        marks=tuple("bad" for _ in exchange.uprate),
    )
