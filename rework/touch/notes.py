"""What has to be said beside every figure: what it is worth, what measures it, what protects a
person and what does not, in the terms of the region and of the set.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rework.touch.study import Study

#: Line volts above which the rules and the devices are those of the 220 to 240 V countries.
HIGH_LINE = 150.0
#: Amperes through a body from which it may be killed (see the rows of limits.toml).
KILLS = 30e-3

Region = Literal["low line", "high line"]


@dataclass(frozen=True, slots=True)
class Setting:
    """Where the set stands: its region by the line volts it is for, and whether it has an earth
    pin.
    """

    region: Region
    earth_pin: bool


def region_of(volts: float | None) -> Region:
    """Return the region of a line of so many nominal volts; that of the high line where none is
    written.
    """
    return "low line" if volts is not None and volts <= HIGH_LINE else "high line"


def setting(study: Study) -> Setting:
    """Return where the set of a study stands."""
    mains = study.circuit.mains
    return Setting(region_of(mains.volts if mains else None), study.earth_pin)


def notes(where: Setting, worst_amps: float) -> tuple[str, ...]:
    """Return the sentences; ``worst_amps`` is the most that a body can get, amperes RMS."""
    return (
        "Computed from the netlist as written; --all prints what had to be assumed. A computed"
        " current proves nothing about the set on the bench.",
        _measure(where, worst_amps),
        _device(where.region),
    )


def _measure(where: Setting, worst_amps: float) -> str:
    """Return what to measure. A set that can kill as it stands is not put on the outlet for it."""
    if worst_amps >= KILLS:
        return (
            "In its present state this set can kill. Do not measure its leakage on the wall outlet."
            " Unplug it, discharge it, and find the fault first."
        )
    earth = (
        "the earth continuity from the earth pin to every part of the metal,"
        if where.earth_pin
        else ""
    )
    lifted = " and its earth pin lifted by an adapter" if where.earth_pin else ""
    return (
        "No single measurement shows that a set is safe. Measure"
        f" {earth} the insulation resistance from both line blades to the metal, and the leakage"
        " current. For the leakage current the set is on the wall outlet, not behind the bench"
        f" isolation transformer, with the plug in both positions, switch ON and OFF{lifted}."
        " Connect the meter while the set is unplugged, and keep one hand in your pocket."
    ).replace("  ", " ")


def _device(region: Region) -> str:
    """Return what the protective device of the building does, and what it does not see."""
    device = (
        "A ground-fault interrupter (GFCI) trips between 4 and 6 mA of current to earth."
        if region == "low line"
        else "A residual-current device (RCD) of 30 mA trips between 15 and 30 mA of current to"
        " earth; below 15 mA it certainly does not."
    )
    return (
        f"{device} It does not see a current that stays on the isolated side of a transformer:"
        " the new B+ can kill with such a device, and with a bench isolation transformer, in place."
    )
