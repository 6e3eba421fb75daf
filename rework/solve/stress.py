"""What a part stands, against its rating: one definition of each rating, for every room."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part
from rework.tubes import library
from rework.tubes.tubetype import TubeType

#: A part that burns more than this share of its watts is close to them (common practice, no source:
#: twice the watts).
WATTS_SHARE = 0.6
#: A heater further than this from its volts is told of, a lamp or motor so far over its own, and a
#: field coil so far under its watts (common practice; makers of tubes print five to ten per cent).
HEATER_SHARE = 0.10
#: A winding may be over its amps or a transformer over its volt-amperes by this, which rounding of
#: the written values explains.
ROUNDING = 1.02
#: The first capacitor may be over the rectifier's figure by this.
CAPACITOR_ROUNDING = 1.05


class Verdict(StrEnum):
    """How a stress compares with its rating."""

    OVER = "over"
    UNDER = "under"  # a heater or a field coil that is starved
    NEAR = "near"
    BAND = "band"  # within it as drawn, over at the edge of the band
    CORNER = "corner"  # within it over the band, over in the worst corner


@dataclass(frozen=True, slots=True)
class Stress:
    """A part (``kind``, and for a tube its ``type``) against one rating, both in ``unit``.

    ``key`` is one of those in the table of kinds, or "cold_volts" (a capacitor at switch-on),
    "high_line_volts" (one on a line 10 % high) or "ripple_amps". ``of`` names the unit of a bulb,
    the winding, the section or the end of a track. ``high`` is the amount at the edge of the band
    and ``corner`` that in the worst corner, where these are known.
    """

    part: str
    kind: str
    key: str
    amount: float
    unit: str
    rating: float | None
    of: str = ""
    type: str = ""
    high: float | None = None
    corner: float | None = None

    @property
    def is_main(self) -> bool:
        """Whether this is the first rating that a part of its kind must have."""
        return KINDS[self.kind].stresses[:1] == (self.key,)

    @property
    def verdict(self) -> Verdict | None:
        """How it compares with the rating; None where it is well inside, or there is none."""
        if not self.rating:
            return None
        limit = self.rating * _ALLOWED.get(self.key, 1.0)
        if self.kind in ("lamp", "motor") and self.key == "volts":
            limit = self.rating * (1 + HEATER_SHARE)
        if self.amount > limit:
            return Verdict.OVER
        # of chokes only field coils state watts: with less they magnetise less
        has_least = self.key == "heater_volts" or (self.kind, self.key) == ("choke", "watts")
        if has_least and self.amount < self.rating * (1 - HEATER_SHARE):
            return Verdict.UNDER
        share = self.amount / self.rating
        watts_share = share**2 if (self.kind, self.key) == ("pot", "amps") else share
        # a field coil is meant to take the watts that it is made for
        spares = (self.key == "watts" and self.kind != "choke") or self.kind == "pot"
        if spares and watts_share > WATTS_SHARE:
            return Verdict.NEAR
        if self.high is not None and self.high > self.rating:
            return Verdict.BAND
        if self.corner is not None and self.corner > self.rating:
            return Verdict.CORNER
        return None


_ALLOWED = {
    "heater_volts": 1 + HEATER_SHARE,
    "amps": ROUNDING,
    "volt_amperes": ROUNDING,
    "first_capacitor_farads": CAPACITOR_ROUNDING,
}
#: The dimension of the value of a file that rates a stress.
_DIMENSION = {
    "watts": "power",
    "volts": "voltage",
    "cold_volts": "voltage",
    "amps": "current",
    "dc_amps": "current",
    "inverse_volts": "voltage",
    "input_volts": "voltage",
    "volt_amperes": "apparent-power",
}


def tube_rating(tube: TubeType, key: str, unit: str = "") -> float | None:
    """Return the rating of a tube type, or of one unit of it, for one stress, in SI units; None
    where the library has none.
    """
    if key == "heater_volts":
        return tube.heater.volts.value
    figure = tube.ratings.get(f"{unit}.{key}") or tube.ratings.get(key)
    return figure.value if figure is not None else None


def rating(part: Part, key: str, of: str = "") -> float | None:
    """Return the rating of a part for one stress, in SI units: written in the file, or that of its
    tube type; None where none is known. ``of`` names the unit of a bulb or the winding.
    """
    if part.kind == "tube":
        tube = library.find(part.type)
        return tube_rating(tube, key, of) if tube is not None else None
    dimension = _DIMENSION.get(key)
    if dimension is None:
        return None
    written = part.value(dimension)
    if written is None and of:
        values = dict(part.windings).get(of.split(".")[0], ())
        written = next((v.amount for v in values if v.dimension == dimension and not v.role), None)
    return written
