"""IEC 60063 preferred values, and the ratings that parts are made in."""

from __future__ import annotations

from bisect import bisect_left

#: The E24 series of IEC 60063, as printed at
#: https://www.qsl.net/g4usp/Components/Component%20preferred%20values.htm; E12 is every other one.
E24 = (
    10,
    11,
    12,
    13,
    15,
    16,
    18,
    20,
    22,
    24,
    27,
    30,
    33,
    36,
    39,
    43,
    47,
    51,
    56,
    62,
    68,
    75,
    82,
    91,
)
E12, E6 = E24[::2], E24[::4]
#: Rated currents of 5 x 20 mm fuse-links in amps, of the R10 series that IEC 60127-2 uses (from
#: memory; the standard was not seen).
FUSES = (
    0.05,
    0.063,
    0.08,
    0.1,
    0.125,
    0.16,
    0.2,
    0.25,
    0.315,
    0.4,
    0.5,
    0.63,
    0.8,
    1.0,
    1.25,
    1.6,
    2.0,
    2.5,
    3.15,
    4.0,
    5.0,
    6.3,
)
#: Watts that resistors are made in, and volts that electrolytics are made in (common practice, no
#: source).
WATTS = (0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 50.0)
VOLTS = (16.0, 25.0, 35.0, 50.0, 63.0, 100.0, 160.0, 200.0, 250.0, 350.0, 400.0, 450.0, 500.0)
#: Volts that resistors for a bleeder are made for (common practice, no source).
BLEEDER_VOLTS = (350.0, 500.0, 750.0, 1000.0)
#: VA that small transformers are made in (common practice, no source).
VOLT_AMPS = (
    5.0,
    10.0,
    15.0,
    20.0,
    30.0,
    40.0,
    50.0,
    60.0,
    80.0,
    100.0,
    120.0,
    160.0,
    200.0,
    250.0,
    300.0,
    400.0,
    500.0,
)


def nearest(amount: float, series: tuple[int, ...] = E12) -> float:
    """Return the preferred value nearest to an amount by ratio."""
    return min(
        _around(amount, series),
        key=lambda amount_near: (max(amount_near / amount, amount / amount_near), amount_near),
    )


def at_least(amount: float, series: tuple[int, ...] = E12) -> float:
    """Return the least preferred value that is not under an amount."""
    return min(value for value in _around(amount, series) if value >= amount * (1 - 1e-9))


def at_most(amount: float, series: tuple[int, ...] = E12) -> float:
    """Return the largest preferred value that is not over an amount."""
    return max(value for value in _around(amount, series) if value <= amount * (1 + 1e-9))


def rating(amount: float, series: tuple[float, ...]) -> float | None:
    """Return the least rating of a table that is not under an amount, None where nothing so large
    is made.
    """
    place = bisect_left(series, amount * (1 - 1e-9))
    return series[place] if place < len(series) else None


def _around(amount: float, series: tuple[int, ...]) -> list[float]:
    if not 1e-15 < amount < 1e15:
        raise ValueError(f"{amount:g} has no preferred value")
    power = int(f"{amount:e}".partition("e")[2])
    return [float(f"{digits}e{power + shift - 1}") for shift in (-1, 0, 1) for digits in series]
