"""The units and multipliers that values are written in, with what each is worth in SI.

The table is ours (pint would read ``220k`` as 220 Boltzmann constants); a test holds every row to
pint.
"""

from __future__ import annotations

#: Decimal multipliers as powers of ten. ``K`` is what old drawings print for kilo.
PREFIXES = {
    "p": -12,
    "n": -9,
    "u": -6,
    "µ": -6,
    "μ": -6,
    "m": -3,
    "k": 3,
    "K": 3,
    "M": 6,
    "meg": 6,
    "Meg": 6,
    "G": 9,
}
#: Multipliers that may stand without a unit, by the dimension they then take. Others are refused
#: there: old drawings print ``8 M`` for eight microfarads and ``1 m`` for a megohm, so a guess
#: could be wrong by a factor of a million.
BARE = {
    "resistance": ("k", "K", "M", "meg", "Meg", "R"),
    "capacitance": ("p", "n", "u", "µ", "μ"),
    "inductance": ("m", "u", "µ", "μ"),
}
#: Multipliers that may stand in place of the decimal point (IEC 60062), by dimension. Its L, G and
#: T are left out: 6L6, 6G6 and 6T8 are tubes.
MARKS = {
    "resistance": ("R", "k", "K", "M"),
    "capacitance": ("p", "n", "u", "µ", "μ", "m"),
    "inductance": ("m", "u", "µ", "μ"),
}

#: Unit as written: (dimension, factor to SI, the name pint knows it by).
UNITS: dict[str, tuple[str, float, str]] = {
    "ohm": ("resistance", 1, "ohm"),
    "ohms": ("resistance", 1, "ohm"),
    "Ohm": ("resistance", 1, "ohm"),
    "Ohms": ("resistance", 1, "ohm"),
    "kilohm": ("resistance", 1e3, "kiloohm"),
    "kilohms": ("resistance", 1e3, "kiloohm"),
    "megohm": ("resistance", 1e6, "megaohm"),
    "megohms": ("resistance", 1e6, "megaohm"),
    "megs": ("resistance", 1e6, "megaohm"),
    "Ω": ("resistance", 1, "ohm"),
    "\u2126": ("resistance", 1, "ohm"),
    "F": ("capacitance", 1, "farad"),
    "mfd": ("capacitance", 1e-6, "microfarad"),
    "mmfd": ("capacitance", 1e-12, "picofarad"),
    "mmf": ("capacitance", 1e-12, "picofarad"),
    "MFD": ("capacitance", 1e-6, "microfarad"),
    "MMFD": ("capacitance", 1e-12, "picofarad"),
    "MMF": ("capacitance", 1e-12, "picofarad"),
    **dict.fromkeys(
        ("uuf", "uuF", "uufd", "µµF", "μμF", "µµfd", "μμfd"), ("capacitance", 1e-12, "picofarad")
    ),
    **dict.fromkeys(("microfarad", "microfarads"), ("capacitance", 1e-6, "microfarad")),
    **dict.fromkeys(("picofarad", "picofarads"), ("capacitance", 1e-12, "picofarad")),
    "uf": ("capacitance", 1e-6, "microfarad"),
    "UF": ("capacitance", 1e-6, "microfarad"),
    "nf": ("capacitance", 1e-9, "nanofarad"),
    "pf": ("capacitance", 1e-12, "picofarad"),
    "PF": ("capacitance", 1e-12, "picofarad"),
    "H": ("inductance", 1, "henry"),
    **dict.fromkeys(("henry", "henries", "henrys"), ("inductance", 1, "henry")),
    **dict.fromkeys(("Henry", "Henries", "Henrys"), ("inductance", 1, "henry")),
    "V": ("voltage", 1, "volt"),
    "VAC": ("voltage", 1, "volt"),
    **dict.fromkeys(("V~", "V=", "V-"), ("voltage", 1, "volt")),
    "VDC": ("voltage", 1, "volt"),
    "WV": ("voltage", 1, "volt"),
    "WVDC": ("voltage", 1, "volt"),
    "volt": ("voltage", 1, "volt"),
    "volts": ("voltage", 1, "volt"),
    "A": ("current", 1, "ampere"),
    "amp": ("current", 1, "ampere"),
    "amps": ("current", 1, "ampere"),
    **dict.fromkeys(("ampere", "amperes"), ("current", 1, "ampere")),
    "W": ("power", 1, "watt"),
    "watt": ("power", 1, "watt"),
    "watts": ("power", 1, "watt"),
    "VA": ("apparent-power", 1, "volt_ampere"),
    "Hz": ("frequency", 1, "hertz"),
    **dict.fromkeys(("cycle", "cycles"), ("frequency", 1, "hertz")),
    "cps": ("frequency", 1, "hertz"),
    "c/s": ("frequency", 1, "hertz"),
    "%": ("fraction", 1e-2, "percent"),
    "mm": ("length", 1e-3, "millimeter"),
    "cm": ("length", 1e-2, "centimeter"),
    **dict.fromkeys(("in", "inch", "inches"), ("length", 0.0254, "inch")),
    "ft": ("length", 0.3048, "foot"),
    "mm2": ("area", 1e-6, "millimeter**2"),
    "mm²": ("area", 1e-6, "millimeter**2"),
    "h": ("time", 3600, "hour"),
    **dict.fromkeys(("AWG", "gauge", "ga"), ("gauge", 1, "")),
    "turns": ("turns", 1, ""),
    "turn": ("turns", 1, ""),
}
#: Units that take a multiplier in front.
PREFIXED = ("ohm", "ohms", "Ohm", "Ohms", "Ω", "\u2126", "F", "H", "V", "A", "W", "VA", "Hz")
#: What each dimension is called in a message, with an example of how to write it.
EXAMPLES = {
    "resistance": "a resistance such as 220k, 4k7 or 150 ohm",
    "capacitance": "a capacitance such as 0.05 uF, 10n or 2n2",
    "inductance": "an inductance such as 8 H",
    "voltage": "a voltage such as 150 V",
    "current": "a current such as 1 A or 80 mA",
    "power": "a power such as 1/2 W",
    "apparent-power": "a rating such as 60 VA",
    "frequency": "a frequency such as 60 Hz",
    "fraction": "a tolerance such as 10%",
    "length": "a length such as 200 mm",
    "area": "a section such as 0.75 mm2",
    "time": "hours such as 3 h",
    "gauge": "a gauge such as 18 AWG",
    "turns": "turns such as 2400 turns",
}
