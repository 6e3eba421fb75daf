"""Touch current: from every node in reach to earth and between every two of them, in every state,
the worst of each told.

The person is a Thevenin load on the solved network (open-circuit volts over inside and body
impedance), so it never enters the matrix.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from rework.circuit.circuit import Circuit
from rework.touch.direct import Direct
from rework.touch.network import UNIT, Patterns, Solved
from rework.touch.parts import EARTH
from rework.touch.person import Network, assumed, body_amps, limit, networks
from rework.touch.route import route
from rework.touch.study import FEEDS, MOST_SINGLE, Row, Study, combination_words
from rework.touch.updates import moving, spread

NOTE = (
    "Computed from the netlist as written; what had to be assumed, --all prints. It proves nothing:"
    " the leakage test by meter does, with the set on the wall outlet and not behind the bench"
    " isolation transformer, its earth lifted by an adaptor, plug both ways, switch ON and OFF. One"
    " hand in the pocket, the meter clipped on with the plug out."
)
UNSEEN = (
    "A ground-fault interrupter sees only what returns past it to earth: it cannot see a current"
    " that stays on the isolated side, and below about 5 mA it does nothing."
)


#: Currents that differ by less, relative, are the same to a person: the first state tried is then
#: the one told.
ALIKE = 1e-3
#: Beyond it, so often the combinations beside the worst are tried.
MOST_ROUNDS = 12
#: What currents from too few volts to count are weighed with.
FEW_VOLTS = 1e-9
#: So many nodes in reach are tried two by two; where there are more, no verdict but "over" is
#: given.
MOST_PAIRED = 40
#: Up to so many combinations of what varies part by part all are tried.
MOST_COMBINATIONS = 4096


@dataclass(frozen=True, slots=True)
class Touch:
    """The worst of one node to earth (``other`` is then empty) or of a pair: amperes rms, volts
    rms, ohms, and the state.

    ``amps`` flow through the person's network, ``reading`` is what the instrument makes of it,
    ``volts`` stand open circuit, ``ohms`` is the impedance behind them; ``dc_amps`` and
    ``dc_volts`` are the worst direct ones, found apart. ``insulated_amps`` flow through a person
    who stands on an insulator, by stray capacitance alone. ``unproved_reading`` is the reading if
    no insulation held that nothing vouches for. ``verdict`` is ``over``, ``under`` or ``not known``
    (under, but a value is missing, or only because of that insulation); what has no more than 35 V
    peak open circuit, or 60 V DC, is under whatever its current (IEC 60065, hazardous live test).
    """

    node: str
    other: str
    amps: float
    reading: float
    volts: float
    ohms: float
    state: str
    condition: str
    path: str
    dc_amps: float
    dc_volts: float
    dc_state: str
    insulated_amps: float
    unproved_reading: float
    body_amps: float
    body_volts: float
    verdict: str


@dataclass(frozen=True, slots=True)
class TouchReport:
    """All of it for one circuit.

    ``states`` is how many were tried; ``unknown`` says which values were missing.

    ``body`` says whose impedance the body has (not exceeded by so many percent of people),
    ``varied`` how what varies part by part was tried, ``unproved`` which insulation counts as
    broken down as well.
    """

    title: str
    line: str
    network: Network
    limit_amps: float
    limit_words: str
    touches: tuple[Touch, ...]
    unknown: tuple[str, ...]
    states: int
    tried: str
    varied: str = ""
    unproved: tuple[str, ...] = ()
    assumed: Mapping[str, float] = field(default_factory=dict)
    body: str = ""
    notes: tuple[str, ...] = field(default=(NOTE, UNSEEN))

    @property
    def worst(self) -> Touch | None:
        """The largest reading of all."""
        return max(self.touches, key=lambda touch: touch.reading, default=None)

    @property
    def exit_status(self) -> int:
        """1 where anything is over its limit or cannot be told to be under, or where nothing is
        said to be in reach; else 0.
        """
        return int(not self.touches or any(touch.verdict != "under" for touch in self.touches))


def touch_ports(circuit: Circuit) -> list[tuple[str, str]]:
    """Return (node, other) for every node in reach to earth, and every two of them, up to
    ``MOST_PAIRED`` nodes.
    """
    reached = sorted(node for node in circuit.within_reach if node in circuit.at)
    return [(node, EARTH) for node in reached] + list(combinations(reached[:MOST_PAIRED], 2))


def not_paired(ports: list[tuple[str, str]]) -> tuple[str, ...]:
    """Return a sentence on the nodes that were not tried in pairs, or nothing."""
    count = sum(other == EARTH for _, other in ports)
    return (
        (
            (
                f"{count} nodes are in reach: to earth all were tried, in pairs only the first"
                f" {MOST_PAIRED}"
            ),
        )
        if count > MOST_PAIRED
        else ()
    )


@dataclass(slots=True)
class _Worst:
    """The worst of one port so far: amperes, volts, ohms, and the state; direct amperes, volts and
    state apart.

    ``dc_weight`` is what direct amperes were weighed as: less where their volts are too few to
    count.
    """

    amps: float = -1.0
    volts: complex = 0j
    ohms: complex = 0j
    row: Row | None = None
    combo: tuple[int, ...] = ()
    feed: int = 0
    unproved: float = 0.0
    dc_weight: float = 0.0
    dc_amps: float = 0.0
    dc_volts: float = 0.0
    dc_state: str = ""


def touch(
    circuit: Circuit,
    *,
    network: str = "iec",
    limit_name: str = "0.5",
    body: int = 5,
    wet: bool = False,
    changes: tuple[tuple[str, float], ...] = (),
    step: Callable[[float], None] | None = None,
) -> TouchReport:
    """Return the touch currents of a circuit: worst plug way, switch position, open conductor and
    condition of parts.

    ``network`` and ``limit_name`` are names in limits.toml, ``body`` the percentage of people of
    IEC 60479-1, ``changes`` figures to assume otherwise, ``step`` is told what share of the work
    was done since it was last told. Raises KeyError for a name that is not there.
    """
    known = assumed(changes)
    study = Study(circuit, known)
    person, least = networks()[network], limit(limit_name)
    ports = touch_ports(circuit)
    worst = [_Worst() for _ in ports]
    combos = study.combinations(MOST_COMBINATIONS, whole=False)
    if ports:
        patterns = study.frame.patterns([(port, (1.0, -1.0)) for port in ports])
        steady, tried, wanted = Direct(study) if study.rectifiers else None, set(), combos
        for number in range(MOST_ROUNDS):
            varies = moving(study, wanted)
            for rows, _, solved in study.blocks(each=8 * len(wanted) * len(ports)):
                _alternating(
                    study,
                    rows,
                    wanted,
                    spread(solved, varies, patterns, study.feeds),
                    person,
                    worst,
                )
                if steady and number == 0:
                    _direct(study, steady, rows, solved, patterns, person, worst)
                if step and number == 0:
                    step(len(rows) / len(study.rows))
            tried |= set(wanted)
            wanted = (
                ()
                if len(combos) == 2 ** len(study.axes)
                else _beside(study, {kept.combo for kept in worst}, tried)
            )
            if not wanted:
                break
    unknown = (*study.model.unknown, *not_paired(ports))
    touches = tuple(
        _told(study, port, found, person, least, body, wet, bool(unknown))
        for port, found in zip(ports, worst, strict=True)
    )
    words = f"{least.amps * 1e3:g} mA {least.kind}: {least.case} ({least.standard}; {least.mark})"
    states = sum(len(row.feeds()) for row in study.rows) * max(
        len(tried) if ports else 0, len(combos)
    )
    return TouchReport(
        study.circuit.title,
        study.line_words,
        person,
        least.rms_amps,
        words,
        touches,
        unknown,
        states,
        study.tried.words,
        varied_words(
            study, combos, " Then, from the worst found, one at a time until nothing got worse."
        ),
        study.model.unproved,
        study.assumed,
        f"{body} %{', wet' if wet else ', dry'}",
    )


def _beside(
    study: Study, worst: set[tuple[int, ...]], tried: set[tuple[int, ...]]
) -> tuple[tuple[int, ...], ...]:
    """Return the combinations that differ from the worst found so far in one position and were not
    tried, insulation whole first.
    """
    found = {
        (*combo[:place], 1 - combo[place], *combo[place + 1 :])
        for combo in worst
        for place in range(min(len(combo), MOST_SINGLE))
    } - tried
    return tuple(sorted(found, key=lambda combo: (not study.is_whole(combo), sum(combo), combo)))


def varied_words(study: Study, combos: tuple[tuple[int, ...], ...], more: str = "") -> str:
    """Return how what varies part by part was tried, as a sentence."""
    moved = [any(combo[place] for combo in combos) for place in range(len(study.axes))]
    count = sum(moved)
    if not count:
        return "Nothing varies part by part."
    kinds = {
        "conducts": "tube or rectifier conducting or not",
        "unknown": "missing value open or short",
        "pot": "wiper at either end",
        "insulation": "unproved insulation whole or broken down",
    }
    named = ", ".join(
        f"{kinds[kind]} ({number})"
        for kind in kinds
        if (
            number := sum(
                axis.kind == kind for axis, free in zip(study.axes, moved, strict=True) if free
            )
        )
    )
    if len(combos) == 2**count:
        return f"Tried in all {len(combos)} combinations, each by itself: {named}."
    alone = "each" if count <= MOST_SINGLE else f"the first {MOST_SINGLE} each"
    return (
        f"Tried all in one position, all in the other, and {alone} alone against the rest, not"
        f" every combination: {named}.{more}"
    )


def _alternating(
    study: Study,
    rows: tuple[Row, ...],
    combos: tuple[tuple[int, ...], ...],
    found,
    person: Network,
    worst: list[_Worst],
) -> None:
    """Keep the worst alternating current of every port."""
    volts, ohms = found.across * study.volts, found.own * UNIT
    amps = abs(volts / (ohms[..., None] + person.impedance(study.hertz)))
    silence(rows, amps)
    # What has too few volts to count comes after all that counts, but is still told where there is
    # nothing else.
    amps[abs(volts) * math.sqrt(2) <= limit("35 V peak").volts] *= FEW_VOLTS
    whole = sum(map(study.is_whole, combos))
    for port, kept in enumerate(worst):
        kept.unproved = max(kept.unproved, float(amps[:, :, port].max()))
        row, combo, feed = first_of_largest(amps[:, :whole, port])
        if amps[row, combo, port, feed] > kept.amps * (1 + ALIKE):
            kept.amps, kept.volts, kept.ohms = (
                float(amps[row, combo, port, feed]),
                complex(volts[row, combo, port, feed]),
                complex(ohms[row, combo, port]),
            )
            kept.row, kept.combo, kept.feed = rows[row], combos[combo], feed


def _direct(
    study: Study,
    steady: Direct,
    rows: tuple[Row, ...],
    solved: Solved,
    patterns: Patterns,
    person: Network,
    worst: list[_Worst],
) -> None:
    """Keep the worst direct current of every port; what has too few volts to count comes after all
    that counts.
    """
    across = spread(solved, moving(study, (steady.charging,)), steady.across, study.feeds).across[
        :, 0
    ]
    found = spread(steady.solved(rows), steady.varies, patterns, steady.sources)
    volts = abs(steady.volts(found.across, across))
    amps = volts / (found.own * UNIT + person.impedance(0.0).real)[..., None]
    silence(rows, amps)
    weight = np.where(volts > limit("60 V DC").volts, amps, amps * FEW_VOLTS)
    for port, kept in enumerate(worst):
        row, combo, feed = first_of_largest(weight[:, :, port])
        if weight[row, combo, port, feed] > kept.dc_weight * (1 + ALIKE):
            kept.dc_weight = float(weight[row, combo, port, feed])
            kept.dc_amps, kept.dc_volts = (
                float(amps[row, combo, port, feed]),
                float(volts[row, combo, port, feed]),
            )
            kept.dc_state = rows[row].words(feed, study.earth_pin)


def first_of_largest(amps: np.ndarray) -> tuple[int, ...]:
    """Return the place of the largest, the first of those that are alike."""
    return tuple(
        int(place)
        for place in np.unravel_index(int((amps >= amps.max() * (1 - ALIKE)).argmax()), amps.shape)
    )


def silence(rows: tuple[Row, ...], amps: np.ndarray) -> None:
    """Take out the feeds that do not go with the blades of a row: (rows, ..., feeds)."""
    for number, row in enumerate(rows):
        for feed in range(len(FEEDS)):
            if feed not in row.feeds():
                amps[number, ..., feed] = 0.0


def _told(
    study: Study,
    port: tuple[str, str],
    worst: _Worst,
    person: Network,
    least,
    body: int,
    wet: bool,
    missing: bool,
) -> Touch:
    farads = study.assumed["person_farad"]
    stray = 1 / (2j * math.pi * study.hertz * farads) if farads else math.inf
    volts, inside, ohms = worst.volts, worst.ohms, person.impedance(study.hertz)
    amps = abs(volts / (inside + ohms))
    reading, unproved = (
        person.reading(amps, study.hertz),
        person.reading(worst.unproved, study.hertz),
    )
    over = (reading > least.rms_amps and counts(volts)) or is_direct_over(
        worst.dc_amps, worst.dc_volts
    )
    open_ = missing or unproved > least.rms_amps or math.isnan(worst.dc_amps)
    return Touch(
        port[0],
        "" if port[1] == EARTH else port[1],
        amps,
        reading,
        abs(volts),
        abs(inside),
        worst.row.words(worst.feed, study.earth_pin),
        combination_words(study.axes, worst.combo),
        route(study, worst.row, worst.combo, worst.feed, port),
        worst.dc_amps,
        worst.dc_volts,
        worst.dc_state,
        abs(volts / (inside + ohms + stray)) if port[1] == EARTH else 0.0,
        unproved,
        *body_amps(abs(volts), inside, percent=body, wet=wet),
        "over" if over else "not known" if open_ else "under",
    )


def counts(volts: complex) -> bool:
    """Return whether so many volts rms open circuit are held to a current at all: more than 35 V
    peak (IEC 60065).
    """
    return abs(volts) * math.sqrt(2) > limit("35 V peak").volts


def is_direct_over(amps: float, volts: float) -> bool:
    """Return whether a direct current is over its limit: 2 mA, from more than 60 V (IEC 60065)."""
    return amps > limit("2 DC").amps and volts > limit("60 V DC").volts
