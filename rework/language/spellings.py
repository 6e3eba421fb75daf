"""What people write on the bench for the words of the files, and what each of them is read as.

Only what has one meaning is read; a word with several is asked about (``OFTEN_MEANT``).
"""

from __future__ import annotations

from rework.circuit.parts import Value
from rework.language.quantity import read_value

#: Kinds by another name: the kind, and the words that the name says of the part.
KIND_NAMES: dict[str, tuple[str, tuple[str, ...]]] = {
    "valve": ("tube", ()),
    "condenser": ("capacitor", ()),
    "cap": ("capacitor", ()),
    "potentiometer": ("pot", ()),
    "potmeter": ("pot", ()),
    "volume control": ("pot", ()),
    "tone control": ("pot", ()),
    "inductor": ("choke", ()),
    "ballast": ("resistor", ("ballast",)),
    "barretter": ("resistor", ("ballast",)),
    "dropper": ("resistor", ("dropper",)),
    "dropping resistor": ("resistor", ("dropper",)),
    "bleeder": ("resistor", ("bleeder",)),
    "phono pickup": ("pickup", ()),
    "crystal pickup": ("pickup", ("crystal",)),
    "magnetic pickup": ("pickup", ("magnetic",)),
    "phono cartridge": ("pickup", ()),
    "cartridge": ("pickup", ()),
    **{style: ("switch", (style.upper(),)) for style in ("spst", "spdt", "dpst", "dpdt")},
    "toggle switch": ("switch", ()),
    "power switch": ("switch", ()),
    "line switch": ("switch", ()),
    "on-off switch": ("switch", ()),
    "rotary switch": ("switch", ()),
    "line-cord resistor": ("resistor", ("line-cord",)),
    "res": ("resistor", ()),
    "candohm": ("resistor", ("wirewound",)),
    "wire wound": ("resistor", ("wirewound",)),
    "mosfet": ("transistor", ("MOSFET",)),
    "input jack": ("jack", ("input",)),
    "headphone jack": ("jack", ()),
    "phono jack": ("jack", ("phono",)),
    "mic jack": ("jack", ("mic",)),
    "microphone jack": ("jack", ("mic",)),
    "selenium rectifier": ("selenium", ()),
    "silicon diode": ("diode", ("silicon",)),
    "germanium diode": ("diode", ("germanium",)),
    "filter choke": ("choke", ()),
    "field coil": ("choke", ("field-coil",)),
    "speaker field": ("choke", ("field-coil",)),
    "voltage selector": ("switch", ()),
    "inrush limiter": ("thermistor", ("NTC",)),
    "VDR": ("varistor", ()),
    "SMPS": ("module", ("switched-mode",)),
    "switched-mode supply": ("module", ("switched-mode",)),
    "switch-mode supply": ("module", ("switched-mode",)),
    "switching supply": ("module", ("switched-mode",)),
    "A battery": ("battery", ()),
    "B battery": ("battery", ()),
    "C battery": ("battery", ()),
    "bias battery": ("battery", ()),
    "xfmr": ("transformer", ()),
    "power transformer": ("transformer", ()),
    "mains transformer": ("transformer", ()),
    "heater transformer": ("transformer", ()),
    "filament transformer": ("transformer", ()),
    "isolation transformer": ("transformer", ()),
    "bulb": ("lamp", ()),
    "dial lamp": ("lamp", ("pilot",)),
    "pilot lamp": ("lamp", ("pilot",)),
    "pilot light": ("lamp", ("pilot",)),
    "dial light": ("lamp", ("pilot",)),
    "pilot bulb": ("lamp", ("pilot",)),
    "dial bulb": ("lamp", ("pilot",)),
    "neon lamp": ("lamp", ("neon",)),
    "loudspeaker": ("speaker", ()),
    "mic": ("microphone", ()),
    "ntc": ("thermistor", ("NTC",)),
    "ptc": ("thermistor", ("PTC",)),
    "MOV": ("varistor", ()),
    "circuit breaker": ("breaker", ()),
    "headphone": ("headphones", ()),
    "phones": ("headphones", ()),
    "LED": ("light-emitting diode", ()),
    "zener": ("zener diode", ()),
    "voltage regulator": ("gas regulator", ()),
    "line filter": ("inlet filter", ()),
    "mains filter": ("inlet filter", ()),
    "optoisolator": ("optocoupler", ()),
    "opt": ("output transformer", ()),
    "audio transformer": ("transformer", ()),
    "electrolytic capacitor": ("electrolytic", ()),
    "electrolytic condenser": ("electrolytic", ()),
    "electrolytic cap": ("electrolytic", ()),
    "elco": ("electrolytic", ()),
    "lytic": ("electrolytic", ()),
    "grid leak": ("resistor", ()),
    "silicon rectifier": ("diode", ("silicon",)),
    "selenium stack": ("selenium", ()),
    "bridge rectifier": ("bridge", ()),
    "rectifier bridge": ("bridge", ()),
    "ballast tube": ("resistor", ("ballast",)),
    "variac": ("autotransformer", ()),
    "trafo": ("transformer", ()),
    "output trafo": ("output transformer", ()),
    "spkr": ("speaker", ()),
    "speaker transformer": ("output transformer", ()),
    "pushbutton": ("switch", ()),
    "push button": ("switch", ()),
    "trimmer": ("pot", ()),
    "trimpot": ("pot", ()),
    "neon": ("lamp", ("neon",)),
    "neon indicator": ("lamp", ("neon",)),
    "jumper": ("wire", ()),
    "strap": ("wire", ()),
    "shielded wire": ("shielded cable", ()),
    "screened cable": ("shielded cable", ()),
    "brimistor": ("thermistor", ("NTC",)),
    "part unlisted": ("unlisted part", ()),
}
#: Words before a kind that say what the part does or how it looks: nothing follows from them that
#: its connections do not show.
DUTIES = frozenset(
    (
        "ac",
        "anode",
        "audio",
        "balance",
        "band",
        "bell",
        "bias",
        "blocking",
        "bypass",
        "cathode",
        "cement",
        "coupling",
        "dc",
        "decoupling",
        "dial",
        "driver",
        "dropping",
        "earth",
        "feedback",
        "filament",
        "filter",
        "full-wave",
        "function",
        "gramophone",
        "grid",
        "ground",
        "heater",
        "hum",
        "indicator",
        "inrush",
        "input",
        "interlock",
        "limiting",
        "line",
        "load",
        "mains",
        "metal",
        "mic",
        "microphone",
        "panel",
        "phono",
        "plate",
        "pm",
        "power",
        "push-button",
        "rectifier",
        "rocker",
        "rotary",
        "screen",
        "selector",
        "slide",
        "smoothing",
        "speaker",
        "standby",
        "step-down",
        "step-up",
        "stereo",
        "swinging",
        "toggle",
        "tone",
        "trim",
        "turntable",
        "vacuum",
        "voltage",
        "volume",
        "wafer",
        "wall",
    )
)
#: Words that say nothing beside what they stand with, as in ``tol 10%``.
SILENT = frozenset(
    (
        "axial",
        "coil",
        "electrolytic",
        "piv",
        "prv",
        "radial",
        "rated",
        "selector",
        "taper",
        "tol",
        "tolerance",
    )
)
#: What is written of a winding with a tap in its middle.
CENTRE_TAPPED = frozenset(("ct", "centre-tapped", "center-tapped"))
#: The position of a switch as it is drawn, by other words than ``in``.
DRAWN_AT = {
    "open": "OFF",
    "closed": "ON",
    "normally open": "OFF",
    "normally closed": "ON",
}
#: Words of more than one meaning, each with the kind that is asked about first.
OFTEN_MEANT = {
    "rectifier": "diode",
    "socket-outlet": "outlet",
    "lead": "wire",
    "cable": "shielded cable",
    "ground": "earth",
    "isolation": "transformer",
    "phono": "pickup or jack phono",
    "control": "pot",
    "line cord": "plug",
    "mains cord": "plug",
    "schuko": "plug",
    "metal rectifier": "selenium",
    "power cord": "plug",
    "iec": "plug three-pin",
    "wall wart": "module switched-mode or transformer",
    "safety": "capacitor class Y2",
    "input": "jack input",
    "volume": "pot",
    "y cap": "capacitor class Y2",
    "x cap": "capacitor class X2",
    "selector": "switch",
    "rheostat": "pot",
}
#: Terminals by another name, by kind: what each is read as.
_OF_A_SIGNAL: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(("hot", "center", "centre"), ("signal",)),
    **dict.fromkeys(("ground", "gnd", "screen"), ("shield",)),
}
_OF_A_DIODE: dict[str, tuple[str, ...]] = {"a": ("anode",), "k": ("cathode",)}
TERMINALS: dict[str, dict[str, tuple[str, ...]]] = {
    "diode": _OF_A_DIODE,
    "selenium": _OF_A_DIODE,
    "zener diode": _OF_A_DIODE,
    "light-emitting diode": _OF_A_DIODE,
    "gas regulator": {**_OF_A_DIODE, "plate": ("anode",)},
    "plug": {
        **dict.fromkeys(("l", "live", "hot", "phase"), ("line",)),
        "n": ("neutral",),
        "narrow": ("line",),
        "wide": ("neutral",),
        **dict.fromkeys(("e", "pe", "gnd", "ground"), ("earth",)),
    },
    "jack": {
        **dict.fromkeys(("hot", "center", "centre", "signal", "pin"), ("tip",)),
        **dict.fromkeys(("ground", "gnd", "shell", "shield", "screen"), ("sleeve",)),
    },
    "pickup": _OF_A_SIGNAL,
    "microphone": _OF_A_SIGNAL,
    "bridge": {"ac": ("ac1", "ac2")},
    "electrolytic": {
        **dict.fromkeys(("pos", "positive"), ("plus",)),
        **dict.fromkeys(("neg", "negative"), ("minus",)),
    },
    "pot": {"slider": ("wiper",), "arm": ("wiper",)},
    "relay": {
        **dict.fromkeys(("com", "common"), ("pole",)),
        "nc": ("throw1",),
        "no": ("throw2",),
    },
    "optocoupler": {**_OF_A_DIODE, "e": ("emitter",), "b": ("base",)},
    "transistor": {
        "e": ("emitter",),
        "b": ("base",),
        "c": ("collector",),
        "s": ("source",),
        "g": ("gate",),
        "d": ("drain",),
    },
}
#: The metal of a part by other words than its frame or can.
METAL = frozenset(
    ("body", "case", "housing", "bushing", "basket", "holder", "shell", "lug", "core")
)
#: Words said of parts, as others spell them.
WORDS = {
    "polarized": "polarised",
    "two-prong": "two-blade",
    "two-pin": "two-blade",
    "2-pin": "two-blade",
    "linecord": "line-cord",
    "barretter": "ballast",
    "gramophone": "phono",
    "gram": "phono",
    **dict.fromkeys(("three-prong", "schuko", "iec", "grounded", "earthed"), "three-pin"),
    "wire-wound": "wirewound",
    "ww": "wirewound",
    "metalfilm": "metal-film",
    "mp": "paper",
    "p-p": "push-pull",
    "pp": "push-pull",
    "s-e": "single-ended",
    "se": "single-ended",
    "on-off-on": "centre-off",
    "lin": "linear",
    "log": "audio",
    "center-off": "centre-off",
    "time-delay": "slow",
    "s-b": "slow",
    "sb": "slow",
    "slow-blow": "slow",
    "slo-blo": "slow",
    "slo-blow": "slow",
    "sloblo": "slow",
    "fast-blow": "fast",
    "quick-blow": "fast",
    "quick": "fast",
    "microphone": "mic",
    "phonograph": "phono",
    "mylar": "film",
    "polyester": "film",
    "disc": "ceramic",
    "carbon-comp": "carbon",
    "carbon-composition": "carbon",
    "carbon-film": "carbon",
    "silver-mica": "mica",
    "orange-drop": "film",
    "t": "slow",
    "time-lag": "slow",
    "f": "fast",
    "3ag": "glass",
    "3ab": "ceramic",
    "rca": "phono",
    "dc-dc": "DC-DC",
}
#: Miniature lamps by the number on their base: volts and amperes. 40, 44, 46 and 47 as seen at
#: capeoldradio.com/cor_ballast.php and pinballmedic.net/tech-tips/lamps.html; the others are from
#: memory.
LAMPS = {
    "40": ("6.3 V", "150 mA"),
    "41": ("2.5 V", "500 mA"),
    "44": ("6.3 V", "250 mA"),
    "46": ("6.3 V", "250 mA"),
    "47": ("6.3 V", "150 mA"),
    "48": ("2 V", "60 mA"),
    "49": ("2 V", "60 mA"),
    "51": ("7.5 V", "220 mA"),
}
#: Gas regulators by type: volts, the most current, and the pins of anode and cathode. From memory.
REGULATORS = {
    "0A2": ("150 V", "30 mA", "anode on pins 1 and 5, cathode on pins 2, 4 and 7"),
    "0B2": ("108 V", "30 mA", "anode on pins 1 and 5, cathode on pins 2, 4 and 7"),
    "0A3": ("75 V", "40 mA", "anode on pin 5, cathode on pin 2, a jumper between 3 and 7"),
    "0C3": ("105 V", "40 mA", "anode on pin 5, cathode on pin 2, a jumper between 3 and 7"),
    "0D3": ("150 V", "40 mA", "anode on pin 5, cathode on pin 2, a jumper between 3 and 7"),
}
_REGULATORS_ALSO = {"VR75": "0A3", "VR105": "0C3", "VR150": "0D3", "150C4": "0A2", "108C1": "0B2"}


def lamp_values(number: str) -> tuple[Value, ...]:
    """Return the volts and amperes of a lamp by the number on its base; none for another number."""
    return tuple(read_value(text) for text in LAMPS.get(number.lstrip("#"), ()))


def regulator_values(type_: str) -> tuple[Value, ...]:
    """Return the volts and the most amperes of a gas regulator by its type; none for another."""
    row = regulator(type_)
    return tuple(read_value(text) for text in row[:2]) if row else ()


def regulator(type_: str) -> tuple[str, str, str] | None:
    """Return volts, most current and the pins of a gas regulator by its type, also written ``OA2``
    or ``VR-150``; None for another type.
    """
    name = type_.upper().replace("-", "").partition("/")[0]
    if name.startswith("O"):
        name = "0" + name[1:]
    return REGULATORS.get(_REGULATORS_ALSO.get(name, name))
