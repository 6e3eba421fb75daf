"""The summary as one screen: a line each, the worst first, with the command that prints more."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from rework.anatomy.function_row import Aspect, FunctionRow, Working
from rework.commands.function_words import sentence, told
from rework.commands.glance import Glance
from rework.report.figures import shown
from rework.report.story import Headline, Story, lines, story_text
from rework.report.table import Column, Table

#: Less current than this is not worth a figure, amperes.
_LEAST_AMPS = 1e-6
#: Fewer volts than this are none.
_LEAST_VOLTS = 1e-3
#: A screen.
MOST_LINES = 40
ALWAYS = (
    "Verify by measurement. Unplug, discharge the capacitors and measure before you reach inside."
)


@dataclass(frozen=True, slots=True)
class SummaryLine:
    """One line: how bad it is (0 worst), what it is about, the words before and after, the command
    that prints more.
    """

    rank: int
    what: str
    before: str
    after: str
    more: str


@dataclass(frozen=True, slots=True)
class _Topic:
    what: str
    aspects: tuple[Aspect, ...]
    good: str
    more: str
    one: str = ""  # where there is no more than one of it


_TOPICS = (
    _Topic("line", (Aspect.PRIMARY, Aspect.POSITION), "on the line", "check"),
    _Topic("rectifiers", (Aspect.RECTIFIER,), "fed", "check"),
    _Topic("heaters", (Aspect.HEATER,), "on their voltage", "check", "on its voltage"),
    _Topic("lamps", (Aspect.LAMP,), "on their voltage", "check", "on its voltage"),
    _Topic("motor", (Aspect.MOTOR,), "on its voltage", "check"),
    _Topic(
        "B+",
        (Aspect.PLATE, Aspect.SCREEN),
        "plates and screens fed",
        "volts",
        "plate or screen fed",
    ),
    _Topic(
        "ways back",
        (Aspect.CATHODE, Aspect.RETURN),
        "cathodes and common returned",
        "volts",
        "cathode or common returned",
    ),
    _Topic("grids", (Aspect.GRID,), "returned", "volts"),
    _Topic("bias", (Aspect.BIAS,), "biased", "volts"),
    _Topic(
        "signal",
        (Aspect.SIGNAL, Aspect.INPUT_RETURN, Aspect.LOAD),
        "paths complete",
        "signal",
        "path complete",
    ),
    _Topic(
        "ratings", (Aspect.RATING, Aspect.CURRENT, Aspect.FUSE, Aspect.NUMBERS), "kept", "volts"
    ),
    _Topic(
        "slips",
        (
            Aspect.POLARITY,
            Aspect.STAGE,
            Aspect.CONTROL,
            Aspect.MATCH,
            Aspect.VALUE,
            Aspect.POINT,
        ),
        "found",
        "volts",
    ),
    _Topic("kept by the job", (Aspect.LOST, Aspect.PORT, Aspect.HANGING), "all", "diff"),
    _Topic("left over", (Aspect.IDLE,), "nothing", "diff"),
    _Topic("names", (Aspect.NAME,), "given once", "apply"),
)
_RANKS = {Working.FAULT: 0, Working.UNKNOWN: 1, Working.NOTE: 2, Working.WORKS: 3}


def summary_text(title: str, glances: Mapping[str, Glance], *, file: str, stated: str = "") -> str:
    """Return the summary of a circuit, or of a job before and after, in at most forty lines;
    ``stated`` says which positions are not tried.
    """
    for count in range(_count(glances), 0, -1):
        out = story_text(summary_story(title, glances, file=file, most=count, stated=stated))
        if out.count("\n") < MOST_LINES:
            return out
    return story_text(summary_story(title, glances, file=file, most=0, stated=stated))


def summary_story(
    title: str,
    glances: Mapping[str, Glance],
    *,
    file: str,
    most: int | None = None,
    stated: str = "",
) -> Story:
    """Return the summary in words and a table of the ``most`` worst lines."""
    last, first = [*glances.values()][-1], glances.get("before")
    rows = sorted(_lines(first, last), key=lambda line: line.rank)
    left = 0 if most is None else len(rows) - most
    return (
        Headline(title),
        *lines(_verdict(last, job=first is not None), look="bad" if last.exit_status else "good"),
        *lines([stated] if stated else []),
        *([_table(rows[:most], first is not None)] if most != 0 else []),
        *lines([f"{left} more lines: rework check {file}, rework volts {file}"] if left else []),
        *lines(ALWAYS),
    )


def _count(glances: Mapping[str, Glance]) -> int:
    return len([*_lines(glances.get("before"), [*glances.values()][-1])])


def _verdict(glance: Glance, *, job: bool) -> str:
    """Return one or two sentences: whether it is safe to touch, then whether it works."""
    what = "The finished set" if job else "The set"
    safety, function = _safety(glance), _function(glance)
    if not (safety or function):
        return f"{what}: nothing found in the netlist as written."
    if not safety:
        return f"{what} {function}"
    return f"{what} {safety} It {function or 'works as far as the netlist shows.'}"


def _safety(glance: Glance) -> str:
    felt = glance.touched
    must = sum(caution.weight == "must" for caution in glance.check.cautions)
    if glance.check.hazards or felt.is_over or felt.charged:
        return "is not safe to touch."
    if felt.over:
        return f"is not safe to touch after {felt.over} of {felt.faults} single faults."
    if glance.check.exit_status and must:
        return f"is not ready: {must} thing{'s' if must > 1 else ''} to fix first."
    if felt.verdict == "not known" or felt.unknown:
        return "is not known to be safe to touch."
    return "is not cleared by the check." if glance.check.exit_status else ""


def _function(glance: Glance) -> str:
    faults = [row for row in glance.rows if row.working is Working.FAULT]
    over = sum(
        row.aspect in (Aspect.RATING, Aspect.FUSE) and not _is_starved(row) for row in faults
    )
    if len(faults) > over:
        more = "s" if len(faults) > 1 else ""
        return f"does not work as it should: {len(faults)} finding{more}."
    if over:
        more = "s are" if over > 1 else " is"
        return f"works as far as the netlist shows; {over} part{more} over the rating."
    if any(row.aspect is Aspect.NUMBERS for row in glance.rows):
        return "works as far as the wiring shows; its voltages could not be computed."
    return ""


def _is_starved(row: FunctionRow) -> bool:
    """Return whether a part gets less than it is rated for, as a heater can."""
    return row.value is not None and row.rated is not None and row.value < row.rated


def _table(lines: list[SummaryLine], job: bool) -> Table:
    middle = (Column("before"), Column("after")) if job else (Column("as it is"),)
    rows = ((line.what, *([line.before] if job else []), line.after, line.more) for line in lines)
    return Table(
        "summary",
        "",
        "",
        (Column("", "name"), *middle, Column("more: rework")),
        tuple(rows),
        marks=tuple("" if line.rank else "bad" for line in lines),
    )


def _lines(first: Glance | None, last: Glance) -> Iterator[SummaryLine]:
    yield SummaryLine(
        0 if last.check.exit_status else 3, "mains", _mains(first), _mains(last), "check"
    )
    known = {"over": 0, "not known": 1, "under": 3}[last.touched.verdict]
    yield SummaryLine(known, "touch current", _touch(first), _touch(last), "touch")
    rank = 0 if last.touched.over else 1 if last.touched.unknown else 3
    yield SummaryLine(rank, "single faults", _faults(first), _faults(last), "faults")
    if last.touched.charged:
        what = f"{', '.join(last.touched.charged)} stays charged when pulled: fit a bleeder"
        yield SummaryLine(0, "stored charge", "", what, "faults")
    for topic in _TOPICS:
        yield from _topic(topic, first, last)
    yield from _sound(first, last)


def _mains(glance: Glance | None) -> str:
    if glance is None:
        return ""
    reached = sum(hazard.touchable for hazard in glance.check.hazards)
    must = sum(caution.weight == "must" for caution in glance.check.cautions)
    if glance.check.hazards:
        return f"{reached} in reach tied, {len(glance.check.hazards) - reached} more"
    return f"{must} to fix first" if must else "nothing found"


def _touch(glance: Glance | None) -> str:
    if glance is None:
        return ""
    felt = glance.touched
    if not felt.where:
        return "nothing named to touch"
    if felt.verdict == "under" and felt.amps > felt.limit:
        # Over the limit of a current, from volts that no limit holds.
        return f"{milliamperes(felt.amps)} at {felt.where}, from under 35 V peak"
    word = "OVER " if felt.is_over else "not known, limit " if felt.verdict != "under" else "limit "
    return f"{milliamperes(felt.amps)} at {felt.where}, {word}{milliamperes(felt.limit)}"


def milliamperes(amps: float) -> str:
    """Return amperes as milliamperes with three figures."""
    return f"{amps * 1e3:.3g} mA" if amps >= _LEAST_AMPS else "under 0.001 mA"


def _faults(glance: Glance | None) -> str:
    if glance is None:
        return ""
    felt = glance.touched
    if not felt.faults:
        return "none tried"
    unknown = f", {felt.unknown} not known" if felt.unknown else ""
    return f"{felt.over} of {felt.faults} over the limit{unknown}"


def _topic(topic: _Topic, first: Glance | None, last: Glance) -> Iterator[SummaryLine]:
    mine = [row for row in last.rows if row.aspect in topic.aspects]
    before = "" if first is None else _state(topic, first.rows)
    bad = told(mine)
    if not mine:
        return
    for number, row in enumerate(bad):
        yield SummaryLine(
            _RANKS[row.working],
            topic.what if not number else "",
            before if not number else "",
            sentence(row),
            topic.more,
        )
    if not bad:
        yield SummaryLine(3, topic.what, before, _state(topic, last.rows), topic.more)


def _state(topic: _Topic, rows: tuple[FunctionRow, ...]) -> str:
    mine = [row for row in rows if row.aspect in topic.aspects]
    good = sum(row.working is Working.WORKS for row in mine)
    if not mine:
        return "–"
    what = topic.one if topic.one and len(mine) == 1 else topic.good
    return f"{good} of {len(mine)} {what}" if good < len(mine) else f"{good} {what}"


def _sound(first: Glance | None, last: Glance) -> Iterator[SummaryLine]:
    every = [glance for glance in (first, last) if glance is not None]
    if any(glance.rail for glance in every):
        yield SummaryLine(3, "B+ volts", _volts(first), _volts(last), "volts")
    if not any(glance.is_heard for glance in every):
        return
    compared = {row.aspect: row for row in last.rows}
    for aspect, unit in ((Aspect.GAIN, ""), (Aspect.WATTS, "W")):
        values = [_figure(glance, aspect, unit) for glance in (first, last)]
        row = compared.get(aspect)
        bad = row is not None and row.working is Working.FAULT
        why = f"; {row.part} was not put back" if bad and row is not None and row.part else ""
        what = "gain, 1 kHz" if aspect is Aspect.GAIN else "output at clipping"
        yield SummaryLine(0 if bad else 3, what, values[0], values[1] + why, "signal")


def _volts(glance: Glance | None) -> str:
    if glance is None:
        return ""
    if not glance.rail:
        return "–"
    if glance.rail_volts is None:
        return "no numbers"
    volts = glance.rail_volts if abs(glance.rail_volts) > _LEAST_VOLTS else 0.0
    return f"{shown(volts, 'V')} at {glance.rail}"


def _figure(glance: Glance | None, aspect: Aspect, unit: str) -> str:
    if glance is None:
        return ""
    value = glance.gain if aspect is Aspect.GAIN else glance.watts
    if value is None:
        return "no numbers"
    return shown(value, unit) if unit else f"{value:.3g}" if value < 1e3 else f"{value:.0f}"
