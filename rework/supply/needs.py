"""What the amplifier needs of its supply, computed from the amplifier as the job leaves it; the
user may fix any of it.

B+ aims at the printed row of typical operation that the output stage, as it stands after the job,
comes nearest to: at the B+ where its plate has the volts of the row, the plate current and the load
of the output transformer are compared with the row's. Only rows whose B+ keeps every part of the
amplifier within its rating count, and it never aims nearer than 3 % to the B+ at which the first
part reaches its rating; where there is no such row, a twentieth under it. What the user fixes goes
before all that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rework.anatomy import amplifier
from rework.circuit.circuit import Circuit, Mains
from rework.circuit.place import Problem
from rework.solve.network import CannotSolve
from rework.supply.amplifier import Amplifier
from rework.supply.bench import RatingLimit
from rework.supply.limit_words import limit_words
from rework.supply.stiff import VOLTS, Aim, Drive, StiffAmplifier, hum_at
from rework.tubes.figure import TRUST

#: What may be fixed, with the dimension of each.
FIXABLE = {
    "bplus": "voltage",
    "idle": "current",
    "full": "current",
    "heater": "voltage",
    "heater-current": "current",
    "hum": "voltage",
    "line": "voltage",
}
#: B+ may miss its aim by this share at the nominal line: what the printed volts of small sets
#: allow, and a line of 10 % (common practice, no source).
WINDOW = 0.10
#: Hum at the speaker below full power that is aimed at, as a ratio: 60 dB (the tool's own choice;
#: no source).
HUM_SHARE = 1e-3
#: Hum below full power that nobody can ask less of, whatever the set as found had: 80 dB (the
#: tool's own choice; no source).
NO_HUM_SHARE = 1e-4
#: Hum that is wanted where nobody can say how much there is, volts.
ANY_HUM = 1e6
#: Share of the ceiling that is aimed at where no printed row can be had, and the most that is aimed
#: at where one can.
UNDER, NEAR = 0.95, 0.97


@dataclass(frozen=True)
class Needs:
    """What a supply must give, SI units, and why.

    ``bplus`` with the band ``low`` to ``high`` is meant at the umbilical, nominal line, idle;
    ``ceiling`` is the B+ at which the first old part reaches its rating (``limits`` names more).
    ``extra_amps`` is what the user fixed beyond what the amplifier draws. ``hum`` is wanted at the
    speaker, ``hum_of_ripple`` gives volts there per volt of ripple at the line's frequency and at
    twice that. ``open_limit`` is the most B+ with cold tubes that the amplifier's capacitors stand.
    ``load`` pairs B+ with the amps drawn. ``fixed`` names what the user fixed.
    """

    mains: Mains
    bplus: float
    low: float
    high: float
    idle_amps: float
    full_amps: float
    heater_volts: float
    heater_amps: float
    hum: float
    hum_of_ripple: tuple[float, float]
    ceiling: float
    open_limit: float
    limits: tuple[RatingLimit, ...]
    aims: tuple[Aim, ...]
    load: tuple[tuple[float, float], ...]
    full_watts: float
    full_volts: float
    stops: tuple[tuple[str, float], ...]
    why: tuple[tuple[str, str], ...]
    fixed: tuple[str, ...]
    extra_amps: float = 0.0

    def amps_at(self, volts: float | NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the amps the amplifier draws at some B+, in the shape of ``volts``."""
        at, drawn = zip(*self.load, strict=True)
        return np.asarray(np.interp(volts, at, drawn) + self.extra_amps)


def needs(amp: Amplifier, wants: Mapping[str, float] | None = None) -> Needs:
    """Return what the amplifier needs.

    ``wants`` fixes some of ``FIXABLE`` by name, in SI. Raises CannotSolve where it has no numbers.
    """
    wants = dict(wants or {})
    stage = StiffAmplifier(amp)
    limits = stage.limits()
    most = float(stage.volts[-1])
    ceiling = _reached(limits[0]) if limits else most
    aims = stage.aims()
    bplus, why_bplus = _aim(wants, aims, limits, ceiling)
    _in_range(bplus, most)
    high = bplus * (1 + WINDOW)
    high = high if "bplus" in wants else min(high, max(ceiling, bplus))
    drive = stage.driven(bplus)
    idle = stage.amps_at(bplus)
    extra = wants.get("idle", idle) - idle
    heater_volts, heater_amps, why_heaters = _heaters(amp.stand_in, amp, wants)
    hum, why_hum = _hum(amp, drive, wants)
    first = limit_words(limits[0]) if limits else "no part of the set has a rating to pass"
    why = (
        ("bplus", why_bplus),
        ("ceiling", first),
        *_why_amps(wants, drive),
        ("heaters", why_heaters),
        ("hum", why_hum),
        ("line", _why_line(amp, wants)),
    )
    return Needs(
        mains=Mains(wants.get("line", amp.mains.volts), amp.mains.hertz),
        bplus=bplus,
        low=bplus * (1 - WINDOW),
        high=high,
        idle_amps=idle + extra,
        full_amps=max(wants.get("full", drive.full_amps + extra), 0.0),
        heater_volts=heater_volts,
        heater_amps=heater_amps,
        hum=hum,
        hum_of_ripple=drive.hum_of_ripple,
        ceiling=ceiling,
        open_limit=stage.open_limit(),
        limits=stage.limits(bplus),
        aims=aims,
        load=stage.load(),
        full_watts=drive.watts,
        full_volts=drive.volts,
        stops=tuple(sorted(drive.stops.items())),
        why=why,
        fixed=tuple(sorted(wants)),
        extra_amps=extra,
    )


def aimed(stage: StiffAmplifier) -> tuple[float, str]:
    """Return the B+ that an amplifier is given where nothing is fixed, and why."""
    limits = stage.limits()
    ceiling = _reached(limits[0]) if limits else float(stage.volts[-1])
    return _aim({}, stage.aims(), limits, ceiling)


def _in_range(bplus: float, most: float) -> None:
    """Raise CannotSolve where nothing can be designed for a B+."""
    if not VOLTS[0] <= bplus <= most:
        raise CannotSolve(
            Problem(
                f"B+ of {bplus:.3g} V is beyond what can be designed here",
                expected=f"{VOLTS[0]:.0f} to {most:.0f} V",
            )
        )


def _reached(limit: RatingLimit) -> float:
    """Return the B+ at which a part reaches its rating; beyond all of them where it never does."""
    return VOLTS[-1] if limit.volts is None else limit.volts


def _aim(
    wants: Mapping[str, float],
    aims: tuple[Aim, ...],
    limits: tuple[RatingLimit, ...],
    ceiling: float,
) -> tuple[float, str]:
    """Return the B+ to aim at, and why."""
    first = limit_words(limits[0]) if limits else "no part of the set is known to reach its rating"
    if "bplus" in wants:
        over = f"; over the {ceiling:.0f} V at which {first}"
        beyond = limits and wants["bplus"] > ceiling
        return wants["bplus"], "fixed by the user" + (over if beyond else "")
    reachable = [aim for aim in aims if aim.bplus <= ceiling]
    if reachable:
        bplus = min(reachable[0].bplus, NEAR * ceiling)
        kept = f"; kept 3 % under the {ceiling:.0f} V at which {first}"
        return bplus, _row_words(reachable[0]) + ("" if bplus == reachable[0].bplus else kept)
    lacking = (
        "no printed row of the output tube can be had"
        if aims
        else "the output tube has no printed row"
    )
    return UNDER * ceiling, f"{lacking}; a twentieth under the {ceiling:.0f} V at which {first}"


def _why_amps(wants: Mapping[str, float], drive: Drive) -> tuple[tuple[str, str], ...]:
    """Return where the amps at idle and at full power are from."""
    fixed = "fixed by the user"
    full = f"the same at the onset of clipping, {drive.watts:.2g} W" if drive.watts else drive.note
    return (
        ("idle", fixed if "idle" in wants else "the solved amplifier at that B+"),
        ("full", fixed if "full" in wants else full),
    )


def _why_line(amp: Amplifier, wants: Mapping[str, float]) -> str:
    if "line" in wants:
        return "fixed by the user; write it into the job too, as a line mains"
    if amp.job.mains:
        return "mains line of the job"
    return f"mains line of {amp.job.circuit_file}"


def _row_words(aim: Aim) -> str:
    load = (
        f", load {aim.row_load:.0f} ohm{' (twice that of one tube)' if aim.doubled else ''} where"
        f" the transformer gives {aim.load_ohms:.0f}"
        if aim.row_load and aim.load_ohms
        else ""
    )
    grade = TRUST[aim.grade]
    return (
        f"puts {aim.part} ({aim.type}) at the {aim.plate_volts:.0f} V on its plate of a printed row"
        f" ({grade}): {1e3 * aim.plate_amps:.0f} mA where the row has"
        f" {1e3 * aim.row_amps:.0f}{load}"
    )


def _heaters(
    circuit: Circuit, amp: Amplifier, wants: Mapping[str, float]
) -> tuple[float, float, str]:
    """Return volts and amps of the heaters between the heater ports and where that is from."""
    heaters = amplifier.of(circuit).heaters
    ends = {heaters.point(amp.node("heater1")), heaters.point(amp.node("heater2"))}
    across = [
        element
        for element in heaters.elements
        if set(element.ends) == ends and amp.own(element.part.name)
    ]
    tubes = [(element.part, feed) for element in across if (feed := element.way)]
    volts = sorted({feed.volts.value for _, feed in tubes})
    if len(volts) > 1 and "heater" not in wants:
        each = ", ".join(f"{part.name} {feed.volts.value:g} V" for part, feed in tubes)
        raise CannotSolve(
            Problem(
                f"the heaters across the supply need different volts: {each}",
                hint="exchange or rewire a tube, or fix the volts: --want heater=6.3V",
            )
        )
    if not tubes and not {"heater", "heater-current"} <= wants.keys():
        raise CannotSolve(
            Problem(
                "no heater is connected between the heater ports: volts and amps are not known",
                hint=(
                    "cut the heater string before the supply is attached, or fix both: --want"
                    " heater=6.3V --want heater-current=1A"
                ),
            )
        )
    lamps = [
        (element.part, amps)
        for element in across
        if not element.way and (amps := element.part.value("current"))
    ]
    amps = sum(feed.amps.value for _, feed in tubes) + sum(amps for _, amps in lamps)
    said = "; ".join(
        (
            *(f"{part.name} {part.type} {feed.amps.value:g} A" for part, feed in tubes),
            *(f"{part.name} {part.kind} {amps:g} A" for part, amps in lamps),
        )
    )
    fixed = [name for name in ("heater", "heater-current") if name in wants]
    return (
        wants.get("heater", volts[0] if volts else 0.0),
        wants.get("heater-current", amps),
        said + (f"; {' and '.join(fixed)} fixed by the user" if fixed else ""),
    )


def _hum(amp: Amplifier, drive: Drive, wants: Mapping[str, float]) -> tuple[float, str]:
    """Return the hum wanted at the speaker: 60 dB under full power, at most what the set had."""
    if "hum" in wants:
        return wants["hum"], "fixed by the user"
    if not drive.volts:
        return ANY_HUM, "not looked at: " + drive.note
    wanted, least = HUM_SHARE * drive.volts, NO_HUM_SHARE * drive.volts
    aim = f"60 dB under the {drive.volts:.2g} V of full power"
    if amp.before.mains is not None and not amp.before.mains.hertz:
        return wanted, f"{aim}; on direct current the set as found had none from its supply"
    try:
        ripple, _ = hum_at(amp.before, drive.stops)
    except CannotSolve:
        return wanted, f"{aim}; the set as found has no numbers to compare with"
    if ripple < least:
        return (
            least,
            f"80 dB under the {drive.volts:.2g} V of full power; the set as found had less",
        )
    if ripple < wanted:
        return (
            ripple,
            f"at most the {1e3 * ripple:.2g} mV of the set as found, which is less than {aim}",
        )
    return wanted, f"{aim}; the set as found had {1e3 * ripple:.2g} mV"
