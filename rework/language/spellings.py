"""What people write on the bench for the words of the files, and what each of them is read as.

Only what has one meaning is read; a word with several is asked about (``OFTEN_MEANT``).
"""

from __future__ import annotations

from rework.circuit.kinds import KINDS
from rework.circuit.parts import Value
from rework.language.quantity import read_value

#: Kinds by another name: the kind, and the words that the name says of the part.
KIND_NAMES: dict[str, tuple[str, tuple[str, ...]]] = {
    "valve": ("tube", ()),
    "condenser": ("capacitor", ()),
    "cap": ("capacitor", ()),
    "potentiometer": ("pot", ()),
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
    "toggle switch": ("switch", ()),
    "power switch": ("switch", ()),
    "line switch": ("switch", ()),
    "on-off switch": ("switch", ()),
    "rotary switch": ("switch", ()),
    "line-cord resistor": ("resistor", ("line-cord",)),
    "res": ("resistor", ()),
    "input jack": ("jack", ()),
    "headphone jack": ("jack", ()),
    "phono jack": ("jack", ("phono",)),
    "mic jack": ("jack", ("mic",)),
    "microphone jack": ("jack", ("mic",)),
    "selenium rectifier": ("selenium", ()),
    "bridge rectifier": ("bridge", ()),
    "silicon diode": ("diode", ("silicon",)),
    "germanium diode": ("diode", ("germanium",)),
    "filter choke": ("choke", ()),
    "field coil": ("choke", ("field-coil",)),
    "xfmr": ("transformer", ()),
    "power transformer": ("transformer", ()),
    "mains transformer": ("transformer", ()),
    "heater transformer": ("transformer", ()),
    "filament transformer": ("transformer", ()),
    "isolation transformer": ("transformer", ()),
    "bulb": ("lamp", ()),
    "dial lamp": ("lamp", ("pilot",)),
    "pilot lamp": ("lamp", ("pilot",)),
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
    "part unlisted": ("unlisted part", ()),
}
#: Words of more than one meaning, each with the kind that is asked about first.
OFTEN_MEANT = {
    "rectifier": "diode",
    "socket-outlet": "outlet",
    "lead": "wire",
    "cable": "shielded cable",
    "ground": "earth",
    "isolation": "transformer",
    "phono": "pickup",
    "control": "pot",
}
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
    "three-prong": "three-pin",
    "wire-wound": "wirewound",
    "metalfilm": "metal-film",
    "lin": "linear",
    "log": "audio",
    "center-off": "centre-off",
    "time-delay": "slow",
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


def kind_named(words: tuple[str, ...]) -> tuple[str, tuple[str, ...], int]:
    """Return the kind that the first words of a head name, the words the name says of the part, and
    how many words it takes; an empty kind where they name none.
    """
    for count in (2, 1):
        name = " ".join(words[:count])
        if len(words) < count:
            continue
        if name in KINDS:
            return name, (), count
        for spelled in (name, name.lower(), name.upper()):
            if spelled in KIND_NAMES:
                kind, said = KIND_NAMES[spelled]
                return kind, said, count
            if spelled in KINDS:
                return spelled, (), count
    return "", (), 0


def lamp_values(number: str) -> tuple[Value, ...]:
    """Return the volts and amperes of a lamp by the number on its base; none for another number."""
    return tuple(read_value(text) for text in LAMPS.get(number.lstrip("#"), ()))


def regulator(type_: str) -> tuple[str, str, str] | None:
    """Return volts, most current and the pins of a gas regulator by its type, also written ``OA2``
    or ``VR-150``; None for another type.
    """
    name = type_.upper().replace("-", "").partition("/")[0]
    if name.startswith("O"):
        name = "0" + name[1:]
    return REGULATORS.get(_REGULATORS_ALSO.get(name, name))
