"""Basing and heaters of the library against what others printed; the source stands in the test's
name.

Only what was seen on a maker's sheet is typed in here again, apart from the data files, and must
agree. Types known from memory alone are held to the two numbering systems, which is a smoke check
and no more; their tests say so by name.
"""

import re

import pytest
from each import each

from rework.tubes import library

TWIN_TRIODE = {
    "1": "triode2.plate",
    "2": "triode2.grid",
    "3": "triode2.cathode",
    "4": "heater1",
    "5": "heater2",
    "6": "triode1.plate",
    "7": "triode1.grid",
    "8": "triode1.cathode",
}

#: Source and page, type, pins as printed there.
BASING = [
    (
        "Philips EABC80 1954 p. 1: d3, d2, kD2, f, f, d1, kT+kD1+kD3+s, g, a",
        "EABC80",
        {
            "1": "diode3",
            "2": "diode2.plate",
            "3": "diode2.cathode",
            "4": "heater1",
            "5": "heater2",
            "6": "diode1",
            "7": "cathode",
            "8": "grid",
            "9": "plate",
        },
    ),
    (
        "Philips EBF80 p. 1: g2, g1, k+s, f, f, a, d1, d2, g3",
        "EBF80",
        {
            "1": "screen",
            "2": "grid",
            "3": "cathode",
            "4": "heater1",
            "5": "heater2",
            "6": "plate",
            "7": "diode1",
            "8": "diode2",
            "9": "suppressor",
        },
    ),
    (
        "Philips EBF89 1958 p. 1: g2, g1, k+s, f, f, a, d1, d2, g3",
        "EBF89",
        {
            "1": "screen",
            "2": "grid",
            "3": "cathode",
            "4": "heater1",
            "5": "heater2",
            "6": "plate",
            "7": "diode1",
            "8": "diode2",
            "9": "suppressor",
        },
    ),
    (
        "RCA Receiving Tube Manual p. 434, 17EW8, 9AJ: PT2 GT2 KT2 H H PT1 GT1 KT1 IS",
        "17EW8",
        {
            "1": "triode2.plate",
            "2": "triode2.grid",
            "3": "triode2.cathode",
            "4": "heater1",
            "5": "heater2",
            "6": "triode1.plate",
            "7": "triode1.grid",
            "8": "triode1.cathode",
            "9": "shield",
        },
    ),
    (
        "Philips ECH81 1954 p. 1: g2+g4, g1, k+g5+s, f, f, aH, g3, aT, gT",
        "ECH81",
        {
            "1": "heptode.screen",
            "2": "heptode.grid",
            "3": "cathode",
            "4": "heater1",
            "5": "heater2",
            "6": "heptode.plate",
            "7": "heptode.signal-grid",
            "8": "triode.plate",
            "9": "triode.grid",
        },
    ),
    ("Tung-Sol 12AX7 1947 p. 1", "12AX7", TWIN_TRIODE | {"9": "heater-tap"}),
    ("Tung-Sol 12AU7 1962 p. 1", "12AU7", TWIN_TRIODE | {"9": "heater-tap"}),
    ("Philips ECC85 1969 p. 1", "ECC85", TWIN_TRIODE | {"9": "shield"}),
    ("Electro-Harmonix 6AQ8EH", "6AQ8", TWIN_TRIODE | {"9": "shield"}),
    ("Electro-Harmonix 6CG7EH", "6CG7", TWIN_TRIODE | {"9": "none"}),
    (
        "Electro-Harmonix 6SN7EH",
        "6SN7GT",
        {
            "1": "triode2.grid",
            "2": "triode2.plate",
            "3": "triode2.cathode",
            "4": "triode1.grid",
            "5": "triode1.plate",
            "6": "triode1.cathode",
            "7": "heater1",
            "8": "heater2",
        },
    ),
    (
        "Electro-Harmonix 6V6GT",
        "6V6GT",
        {
            "1": "none",
            "2": "heater1",
            "3": "plate",
            "4": "screen",
            "5": "grid",
            "6": "none",
            "7": "heater2",
            "8": "cathode",
        },
    ),
    (
        "Electro-Harmonix 6BM8EH",
        "6BM8",
        {
            "1": "triode.grid",
            "2": "pentode.cathode",
            "3": "pentode.grid",
            "4": "heater1",
            "5": "heater2",
            "6": "pentode.plate",
            "7": "pentode.screen",
            "8": "triode.cathode",
            "9": "triode.plate",
        },
    ),
    (
        "Philips EL84 1953 sheet 1",
        "EL84",
        {
            "1": "internal",
            "2": "grid",
            "3": "cathode",
            "4": "heater1",
            "5": "heater2",
            "6": "internal",
            "7": "plate",
            "8": "internal",
            "9": "screen",
        },
    ),
    (
        "Philips EF89 1955 p. 1",
        "EF89",
        {
            "1": "shield",
            "2": "grid",
            "3": "cathode",
            "4": "heater1",
            "5": "heater2",
            "6": "shield",
            "7": "plate",
            "8": "screen",
            "9": "suppressor",
        },
    ),
    (
        "Mazda EZ80 1963 p. 1",
        "EZ80",
        {
            "1": "plate2",
            "2": "internal",
            "3": "cathode",
            "4": "heater1",
            "5": "heater2",
            "6": "internal",
            "7": "plate1",
            "8": "internal",
            "9": "internal",
        },
    ),
    (
        "General Electric 6X4 p. 1",
        "6X4",
        {
            "1": "plate2",
            "2": "none",
            "3": "heater1",
            "4": "heater2",
            "5": "none",
            "6": "plate1",
            "7": "cathode",
        },
    ),
]

#: Source and page, type, volts, amperes.
HEATERS = [
    ("Tung-Sol 12AX7 1947 p. 1", "12AX7", 12.6, 0.15),
    ("Tung-Sol 12AU7 1962 p. 1", "12AU7", 12.6, 0.15),
    ("Philips EL84 1953 sheet 1", "EL84", 6.3, 0.76),
    ("Philips ECC85 1969 p. 1", "ECC85", 6.3, 0.435),
    ("Philips EF89 1955 p. 1", "EF89", 6.3, 0.2),
    ("Mazda EZ80 1963 p. 1", "EZ80", 6.3, 0.6),
    ("General Electric 6X4 p. 1", "6X4", 6.3, 0.6),
]

#: A maker's production limits at 6.3 V, in amperes.
HEATER_LIMITS = [
    ("Electro-Harmonix 6SN7EH", "6SN7GT", 0.550, 0.650),
    ("Electro-Harmonix 6CG7EH", "6CG7", 0.550, 0.680),
    ("Electro-Harmonix 6AQ8EH", "ECC85", 0.400, 0.485),
    ("Electro-Harmonix 6BM8EH", "ECL82", 0.770, 0.930),
]

#: The European code's first letter: heater volts, or amperes of the series string.
LETTER_VOLTS = {"E": 6.3, "G": 5.0}
LETTER_AMPS = {"H": 0.15, "P": 0.3, "U": 0.1}
EUROPEAN = re.compile(r"([EGHPU])[A-FHKLY-Z]{1,4}\d+")
#: The American code: the digits in front come near the heater volts.
AMERICAN = re.compile(r"(\d+)[A-Z]+\d")


def titled(rows):
    return [pytest.param(*row[1:], id=f"{row[0]}: {row[1]}") for row in rows]


def names(pattern):
    """Every type and alias of that shape, with the grade of the type's heater in the test's name."""
    found_names = []
    for type_name in library.types():
        tube = library.find(type_name)
        found_names += [
            pytest.param(found[1], tube, id=f"{name} ({tube.heater.volts.trust})")
            for name in (type_name, *tube.aliases)
            if (found := pattern.fullmatch(name) or (pattern is AMERICAN and pattern.match(name)))
        ]
    return found_names


@each(("type_name", "pins"), titled(BASING))
def test_basing_agrees_with_the_printed_sheet(type_name, pins):
    tube = library.find(type_name)
    assert tube.verified
    assert {pin: tube.element(pin) for pin in tube.socket_pins} == pins


@each(("type_name", "volts", "amps"), titled(HEATERS))
def test_the_heater_agrees_with_the_printed_sheet(type_name, volts, amps):
    heater = library.find(type_name).heater
    assert heater.volts.verified
    assert (heater.volts.value, heater.amps.value) == (volts, amps)


@each(("type_name", "least", "most"), titled(HEATER_LIMITS))
def test_the_heater_current_lies_within_a_makers_limits(type_name, least, most):
    assert least <= library.find(type_name).heater.amps.value <= most


@each(("letter", "tube"), names(EUROPEAN))
def test_european_first_letter_names_the_heater(letter, tube):
    """European letter code: daktologistindustries.com/pro-electronmullard-code (second-hand)."""
    if letter in LETTER_VOLTS:
        assert LETTER_VOLTS[letter] in {way.volts.value for way in tube.heater.ways}
    else:
        assert tube.heater.amps.value == LETTER_AMPS[letter]


@each(("digits", "tube"), names(AMERICAN))
def test_american_first_digits_come_near_the_heater_volts(digits, tube):
    # Lock-in tubes carry nominal volts: manuals print 12.6 V or 14 V for a 14.
    nominal = {"14": (12.6, 14.0)}.get(digits, (float(digits),))
    assert min(abs(volts - tube.heater.volts.value) for volts in nominal) <= 1.0


def test_every_verified_basing_is_held_to_its_sheet_above():
    seen = {name for name in library.types() if library.find(name).verified}
    held = {library.find(row[1]).type for row in BASING}
    assert seen == held


def test_the_printed_12ax7_and_12au7_heater_ways():
    """Tung-Sol 12AX7 (1947) and 12AU7 (1962): 12.6 V between 4 and 5, 6.3 V between 9 and 4 with 5."""
    for type_name in ("12AX7", "12AU7"):
        ways = {
            (frozenset(way.between), way.volts.value, way.amps.value)
            for way in library.find(type_name).heater.ways
        }
        assert ways == {
            (frozenset({frozenset("4"), frozenset("5")}), 12.6, 0.15),
            (frozenset({frozenset({"4", "5"}), frozenset("9")}), 6.3, 0.3),
        }
