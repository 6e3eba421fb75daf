"""The line at its upper tolerance, which a touch current is judged at."""

from __future__ import annotations

#: Upper line volts by the volts the set was made for (safety notes: 1.1 times the nominal voltage
#: of the supply).
_UPPER = ((100.0, 110.0), (127.0, 132.0), (230.0, 253.0), (240.0, 264.0))


def upper_line(volts: float | None, hertz: float | None) -> tuple[float, float, str]:
    """Return (volts, hertz, words) of the line at its upper tolerance; the worst of all where the
    netlist states none.

    A direct-current line (0 Hz) is taken as if it alternated at 60 Hz with as many volts RMS: the
    current through a resistance is the same, that through a capacitance is on the high side.
    """
    if not volts or hertz is None:
        return 264.0, 60.0, "no mains line in the netlist: the worst, 264 V 60 Hz, is taken"
    upper = max(
        next((upper for most, upper in _UPPER if volts <= most), 0.0), round(1.1 * volts, 6)
    )
    if not hertz:
        words = f"DC mains, taken as {upper:g} V 60 Hz: alternating mains of those volts are worse"
        return upper, 60.0, words
    return upper, hertz, f"line at its upper tolerance, {upper:g} V {hertz:g} Hz"
