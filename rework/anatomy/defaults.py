"""What parts of a kind and size have where the file does not say: every such figure is listed as
assumed, has a band as wide as its spread, and loses to anything written.

Winding laws over catalogue units and measured pieces: output transformers of Silk, Noguchi, Kasuga,
Toei, Tango and one Philco part (seven primaries with printed ohms, x/1.36; two held out: 276 told
for 178, 195 for 225); power transformers and chokes from memory, but one adapter and one choke that
were seen.
"""

from __future__ import annotations

from math import pi

#: One standard deviation of such an estimate, as a share.
SPREAD = 0.3
#: Henries of a choke that states neither henries nor ohms and amps; amps where none are written
#: (common practice, no source).
CHOKE_HENRIES, CHOKE_AMPS = 8.0, 0.075
#: Henries of a field coil for each ohm (common practice, no source: 5 to 10 mH).
FIELD_HENRIES = 7.5e-3
#: Power factor of a turntable motor (from memory: 0.5 to 0.7), and its watts where nothing is
#: written (common practice, no source).
POWER_FACTOR, MOTOR_WATTS = 0.6, 12.0
#: Volt-amperes of a transformer whose file does not say (the tool's own choice).
VOLT_AMPERES = 50.0
#: The shares of the sag in a primary and in a secondary, and the volt-amperes up to which a
#: transformer loses so much that volts marked at load are told from those without (own choice).
PRIMARY_SHARE, SECONDARY_SHARE, SMALL_VOLT_AMPERES = 0.37, 0.42, 10.0
#: Watts that the printed inductances of single-ended output transformers hold for, and their
#: exponent.
OUTPUT_WATTS, OUTPUT_EXPONENT = 5.0, 0.55
#: Ohms of a speaker whose file does not say (common practice, no source).
SPEAKER_OHMS = 4.0


def output_ohms(load: float, *, primary: bool) -> float:
    """Return the ohms of a winding of an output transformer made for a ``load``: 3.9 root Z of a
    primary, 0.09 Z of a secondary, leads included.
    """
    return float(3.9 * load**0.5) if primary else 0.09 * load


def output_henries(load: float, watts: float | None, *, push_pull: bool) -> float:
    """Return the primary inductance of an output transformer: 1.9 mH for each ohm of load at 5 W
    with its direct current, 10 mH in push-pull at a low level.
    """
    if push_pull:
        return 10e-3 * load
    return float(1.9e-3 * load * ((watts or OUTPUT_WATTS) / OUTPUT_WATTS) ** OUTPUT_EXPONENT)


def sag(volt_amperes: float) -> float:
    """Return the share of its volts that a transformer loses at full load: 0.59 VA^-0.40."""
    return float(min(0.59 * volt_amperes**-0.40, 0.4))


def loaded_rise(volt_amperes: float) -> float:
    """Return how many times its marked volts a small transformer gives without load: it is marked
    at its rated amps (common practice, no source), and the ohms of ``winding_ohms`` drop the rest.
    """
    if volt_amperes > SMALL_VOLT_AMPERES:
        return 1.0
    return 1 / (1 - (PRIMARY_SHARE + SECONDARY_SHARE) * sag(volt_amperes))


def winding_ohms(volts: float, amps: float | None, rated: float, *, primary: bool) -> float:
    """Return the ohms of a winding of a mains transformer of ``rated`` volt-amperes, by its share
    of the sag: 0.37 of it in the primary, 0.42 in a secondary.
    """
    if primary:
        return PRIMARY_SHARE * sag(rated) * volts**2 / rated
    return SECONDARY_SHARE * sag(rated) * (volts / amps if amps else volts**2 / rated)


def choke_ohms(henries: float, amps: float | None) -> float:
    """Return the ohms of a filter choke: 8.1 H^0.44 A^-0.93 (ten types, x/1.22)."""
    return float(8.1 * henries**0.44 * (amps or CHOKE_AMPS) ** -0.93)


def choke_henries(ohms: float | None, amps: float | None, *, field: bool) -> float:
    """Return the henries of a choke from its ohms and amps, by the same law; of a field coil from
    its ohms.
    """
    if ohms and field:
        return FIELD_HENRIES * ohms
    if ohms and amps:
        return float((ohms * amps**0.93 / 8.1) ** (1 / 0.44))
    return CHOKE_HENRIES


def motor(
    volts: float, amps: float | None, watts: float | None, ohms: float | None, hertz: float
) -> tuple[float, float]:
    """Return the ohms and henries in series that a motor is on its line, from what is written of
    it and the power factor.
    """
    if amps is None:
        amps = (watts or MOTOR_WATTS) / (volts * POWER_FACTOR)
    impedance = volts / amps
    resistance = min(ohms or (watts / amps**2 if watts else POWER_FACTOR * impedance), impedance)
    if not hertz:
        return (watts and volts**2 / watts) or impedance, 0.0
    return resistance, (impedance**2 - resistance**2) ** 0.5 / (2 * pi * hertz)
