"""Syntax mistakes shown by what the person meant, not by what the parser wanted.

``MISTAKES`` is a table of (when it applies, message, expected, hint, malformed lines); every
malformed line is a test.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable

from rework.language.stumble import (
    CIRCUIT,
    EACH_SECTION,
    PIN_BEFORE,
    POLES,
    PRONGS,
    SEVERAL_LOADS,
    TAP_BEHIND,
    Explanation,
    Mistake,
    amount,
    is_before_colon,
    joined_by_hyphen,
    no_unit,
    point_written,
    slashed,
    spelled,
    starts,
    tapped,
    two_pins,
    unhyphened,
    whole,
)

SECOND_COLON = Explanation(
    "one line has a second colon",
    "one colon, before the connections",
    "remove this colon",
)

MISTAKES = (
    Mistake(
        lambda at: (
            at.start == "part" and bool(TAP_BEHIND.search(at.before) and at.rest[:3] == "tap")
        ),
        "what is said of a tap comes before the nodes of its winding",
        "WINDING VOLTS tap VOLTS = START -- TAP -- FINISH",
        "write it as in winding 240 V tap 120 V = A -- B -- C",
        ("T1 autotransformer : winding 240 V = A -- B -- C tap 120 V",),
    ),
    Mistake(
        lambda at: ":" not in at.before and bool(re.match(r"[0-9]+,[0-9]", at.rest)),
        "a number has a comma in it",
        "a decimal point, as in 1.5k",
        lambda at: point_written(whole(at)),
        ("R1 resistor 1,500 ohm : A -- B", "C1 capacitor 10,000 pF : A -- B"),
    ),
    Mistake(
        lambda at: bool(slashed(at)),
        "a capacitance and volts have a slash between them",
        "each value with its unit",
        lambda at: f"did you mean {slashed(at)}?",
        (
            "C1 capacitor .1/400 : A -- B",
            "C1 cap .05/600V paper : A -- B",
        ),
    ),
    Mistake(
        lambda at: bool(tapped(at)),
        "the volts of a winding's taps are written as one value",
        "the volts of the whole winding, then those of each tap from its start",
        lambda at: f"write {tapped(at)} = START -- TAP -- FINISH",
        ("T1 transformer : primary 0-110-220 V = A -- B -- C, secondary 6.3 V = D -- E",),
    ),
    Mistake(
        lambda at: at.start == "part" and ":" in at.before and bool(SEVERAL_LOADS.match(at.rest)),
        "several loads of one secondary have slashes between them",
        "the load of the whole secondary, as in output transformer 5k : 16",
        "state its taps at the winding, as in secondary tap 50% tap 71% = C -- D -- E -- F: the 4"
        " ohm of 16 are at half the turns, the 8 ohm at 71 %",
        ("T1 output transformer 5k : 4/8/16 : primary = A -- B, secondary = C -- D -- E -- F",),
        whole=True,
    ),
    Mistake(
        lambda at: at.start == "part" and bool(re.match(r"\.[Oo][0-9]", at.rest)),
        "the letter O is where a nought belongs",
        "a value such as .05 uF",
        lambda at: f"did you mean .0{at.rest[2:].split()[0]}?",
        ("C1 capacitor .O5 uF : A -- B",),
    ),
    Mistake(
        lambda at: bool(amount(at).more),
        "two values are written as one",
        "one value",
        EACH_SECTION,
        ("C1 capacitor 50+30 uF 150 V : A -- B",),
    ),
    Mistake(
        lambda at: bool(spelled(at)),
        lambda at: f"the unit of {amount(at).text} is spelled in another way",
        "a value such as 220k or 6.3 V",
        lambda at: f"did you mean {spelled(at)}?",
        ("C1 electrolytic 100f : A -- B",),
    ),
    Mistake(
        lambda at: (
            bool(re.search(r"[0-9]$", at.before + re.sub(r'".*', "", at.rest, flags=re.S)))
            and at.rest.count('"') == 1
        ),
        "a quotation mark behind a number says inches, and the size of a part is not asked for",
        'text between two "',
        'leave it out, or put it into a remark between two " at the end of the line',
        ('LS1 4" PM speaker 3.2 ohm : A -- B', 'J1 1/4" jack : tip=A, sleeve=B'),
    ),
    Mistake(
        lambda at: "/" in amount(at).number,
        lambda at: f"{amount(at).number} has no unit that is known here",
        "a value such as 1/2 W",
        no_unit,
        ("R1 resistor 1k 1/2 : A -- B", "R1 resistor 1k 1/2 Q : A -- B"),
    ),
    Mistake(
        lambda at: at.rest.startswith('"') and at.rest.count('"') == 1,
        "a quotation mark is opened and not closed",
        'text between two "',
        'put a second " at the end of the remark',
        ('R1 resistor 1k : A -- B "plate load', 'circuit "as found'),
    ),
    Mistake(
        lambda at: at.rest.startswith(("–", "—", "->", "--")) and is_before_colon(at),
        "a dash joins nothing here",
        "words and values with blanks between them",
        "leave the dash out",
        ("R1 resistor 2.2k – 1 W : A -- B", "R1 resistor 2.2k -- 1 W : A -- B"),
    ),
    Mistake(
        starts("−", ">", "=>"),
        "this is not the sign between two nodes",
        "two plain hyphens, as in A -- B",
        "write -- between the nodes",
        ("R1 resistor 1k : A − B", "R1 resistor 1k : A => B"),
    ),
    Mistake(
        lambda at: at.rest.startswith(("(", "[", "@", "°")) and is_before_colon(at),
        lambda at: f"{at.rest[0]} has no meaning here",
        "words and values with blanks between them",
        'leave it out, or put what it is about into a remark between two " at the end of the line',
        (
            "R1 resistor 22k (1W) : A -- B",
            "C1 capacitor .047 @ 600V : A -- B",
            "C1 electrolytic 50 uF 150 V 105°C : A -- B",
        ),
    ),
    Mistake(
        lambda at: at.rest.startswith("//") and at.start in CIRCUIT,
        "two slashes have no meaning here",
        'a # before a remark to yourself, or text between two "',
        "write # for //",
        ("R1 resistor 1k : A -- B // plate load",),
    ),
    Mistake(
        lambda at: bool(PRONGS.search(at.before) and at.rest.startswith("-")),
        "a number with a hyphen is no word for a plug",
        "two-blade, polarised or three-pin",
        lambda at: f"write {'three-pin' if at.before.rstrip().endswith('3') else 'two-blade'}",
        ("P1 plug 3-prong : line=A, neutral=B, earth=C", "P1 plug 2-pin : line=A, neutral=B"),
    ),
    Mistake(
        lambda at: bool(
            at.start == "part"
            and ":" not in at.before
            and re.search(r"[0-9]$", at.before)
            and re.match(r"-[0-9]", at.rest)
        ),
        "two values are written as one",
        "one value",
        joined_by_hyphen,
        ("C1 capacitor 50-30 uF 150 V : A -- B", "PL1 lamp 6-8 V .15 A : A -- B"),
    ),
    Mistake(
        lambda at: bool(POLES.search(at.before) and at.rest.startswith("-")),
        "a number with a hyphen is no word for a switch",
        "poles and throws, as in SPST, DPDT or 1P3T",
        "write SPST for one pole that opens, DPST for two, 1P3T for one pole of three positions",
        ("S1 switch 3-gang : A -- B", "S1 switch 2-circuit : A -- B, C -- D"),
    ),
    Mistake(
        lambda at: (
            at.start == "part"
            and ":" in at.before
            and bool(re.match(r"[+~-]\s*=", at.rest) or re.search(r"[,:]\s*[+~]\s*$", at.before))
        ),
        "a sign is no terminal",
        "TERMINAL=NODE with the terminal's name",
        "write plus and minus, anode and cathode, ac1 and ac2 of a bridge, or A -- B for a speaker",
        ("D1 diode : +=A, -=B", "D1 bridge : ~=A, ~=B, +=C, -=D"),
    ),
    Mistake(
        lambda at: at.start == "plain" and bool(re.match(r"mains\s+[0-9]+$", at.before)),
        "a set is on one line at a time",
        "mains VOLTS HERTZ, as in mains 117 V 60 Hz",
        "write the volts of the line that it is on",
        ("mains 220-240 V 50 Hz",),
    ),
    Mistake(
        lambda at: at.start == "plain" and at.code.startswith("mains") and "~" in at.rest[:2],
        "a sign says that the mains alternate",
        "mains VOLTS HERTZ, as in mains 117 V 60 Hz",
        "write volts and hertz with a blank between them",
        ("mains 240V~50Hz",),
    ),
    Mistake(
        lambda at: is_before_colon(at) and bool(re.match(r"-[ .0-9]", at.rest)),
        "two values have a hyphen between them",
        "words and values with blanks between them",
        "leave the hyphen out",
        ("C1 electrolytic 50uF-150V : A -- B", "C1 electrolytic 50 uF - 150 V : A -- B"),
    ),
    Mistake(
        lambda at: bool(
            at.start == "part" and ":" not in at.before and re.match(r"-[A-Za-z]", at.rest)
        ),
        "a hyphen joins nothing here",
        "words and values with blanks between them",
        lambda at: (
            f"leave the hyphen out: {unhyphened(at)}"
            if re.search(r"\b(tube|valve)\b", at.before)
            else 'put it into a remark between two " at the end of the line'
        ),
        ("V1 tube 50L6-GT : 1=A, 2=B",),
    ),
    Mistake(
        lambda at: bool(PIN_BEFORE.search(at.before) and re.match(r"[-:]", at.rest)),
        "a pin and its node have = between them",
        "PIN=NODE",
        lambda at: f"write = for {at.rest[0]}",
        ("V1 tube 50C5 : 1-B, 2-A", "V1 tube 50C5 : 1:B, 2:A"),
    ),
    Mistake(
        lambda at: at.rest.startswith("-") and not at.rest.startswith("--"),
        "a single hyphen does not join two nodes",
        "two plain hyphens, as in A -- B",
        "write -- between the nodes",
        ("R1 resistor 1k : A - B",),
    ),
    Mistake(
        starts("‘", "’", "“", "”", "„", "«", "»", "'"),
        "this quotation mark is not the plain one",
        'text between two "',
        'write the remark between two plain " marks',
        ("R1 resistor 1k : A -- B “plate load", "R1 resistor 1k : A -- B 'x'"),
    ),
    Mistake(
        lambda at: at.rest.startswith(";") and at.start != "titled",
        "a semicolon has no meaning here",
        "a comma between connections",
        "write a comma",
        ("V1 tube 12AU6 : 1=A; 2=B",),
    ),
    Mistake(
        lambda at: at.rest.startswith(("?", "{")) and at.start in CIRCUIT,
        "variables and parameters belong in a rule, not in a circuit",
        "a plain name",
        "write the name itself",
        ("R1 resistor 1k : ? -- B",),
    ),
    Mistake(
        lambda at: (
            at.start == "part"
            and at.rest == ""
            and bool(re.fullmatch(r'\s*\w+\s*"[^"]*"\s*', at.before))
        ),
        "this line is one word and a text, and the word is not known",
        'circuit "TITLE", or a part with its connections',
        lambda at: (
            "for the title of the set write circuit " + at.before[at.before.index('"') :].strip()
        ),
        ('title "my amplifier"', 'amplifier "as found"', 'set "as found"'),
    ),
    Mistake(
        lambda at: (
            at.start == "part" and bool(re.match(r"\s*(line|supply|power)\s+[0-9]", at.code))
        ),
        "no statement begins so in a circuit",
        "mains VOLTS HERTZ, as in mains 117 V 60 Hz",
        "write mains for the line that the set is on",
        ("line 117 V", "line 117 V 60 Hz"),
    ),
    Mistake(
        lambda at: at.rest == "" and ":" not in at.code and "COLON" in at.accepted,
        "this line has no colon, so nothing says where the part is connected",
        "NAME KIND VALUES : CONNECTIONS",
        "write a colon and the nodes, as in R1 resistor 220k : B1 -- V1.plate",
        ("R1 resistor 220k", "V1 tube 12AU6", "R1"),
    ),
    Mistake(
        lambda at: at.rest.startswith("--") and ":" not in at.before,
        "the colon before the connections is missing",
        "NAME KIND VALUES : CONNECTIONS",
        "write a colon before the first node",
        ("R1 resistor 220k A -- B",),
    ),
    Mistake(
        lambda at: at.start == "plain" and at.code.startswith("mains") and at.rest[:1] == "=",
        "a sign says that the mains are direct",
        "mains VOLTS DC, as in mains 220 V DC",
        "write DC for =",
        ("mains 220V=50",),
    ),
    Mistake(
        lambda at: bool(
            at.start == "part" and re.fullmatch(r"\s*\S+\s*", at.before) and at.rest[:1] == "="
        ),
        "nothing is between a name and its kind",
        "NAME KIND VALUES : CONNECTIONS",
        "leave the = out",
        ("R1 = resistor 220k : A -- B",),
    ),
    Mistake(
        lambda at: at.rest.startswith("=") and ":" not in at.before and at.start in CIRCUIT,
        "the colon before the connections is missing",
        "NAME KIND VALUES : TERMINAL=NODE, ...",
        "write a colon before the first terminal",
        ("V1 tube 12AU6 1=A, 2=B", "J1 jack tip=IN"),
    ),
    Mistake(
        lambda at: at.rest == "" and at.before.rstrip().endswith("--"),
        "the second node is missing",
        "a node after --",
        "name the node at the other end",
        ("R1 resistor 1k : A --",),
    ),
    Mistake(
        lambda at: at.rest == "" and at.before.rstrip().endswith("=") and at.start in CIRCUIT,
        "the node is missing",
        "a node after =",
        "name the node on this terminal, or write unused and the terminal",
        ("V1 tube 12AU6 : 1=",),
    ),
    Mistake(
        lambda at: at.rest == "" and at.before.rstrip().endswith(","),
        "a comma ends the line and nothing follows",
        "another connection",
        "remove the comma",
        ("V1 tube 12AU6 : 1=A,",),
    ),
    Mistake(
        starts(","),
        "a comma is where a connection should be",
        "a connection between two commas",
        "remove one comma",
        ("V1 tube 12AU6 : 1=A,, 2=B", "V1 tube 12AU6 : , 1=A"),
    ),
    Mistake(
        lambda at: at.rest.startswith("=") and "=" in at.before,
        "one connection has a second =",
        "TERMINAL=NODE, with a comma between connections",
        "put a comma before the second terminal",
        ("V1 tube 12AU6 : 1==A", "V1 tube 12AU6 : 1=A=B"),
    ),
    Mistake(
        lambda at: bool(two_pins(at)),
        "two pins are before one =",
        "PIN=NODE for each pin",
        two_pins,
        ("V1 tube 12AU7 : 1=A, 4+5=B",),
    ),
    Mistake(
        lambda at: "=" in at.before and bool(re.match(r"[\w.+?]", at.rest)),
        "there is no comma between two connections",
        "a comma between connections",
        "put a comma before this word",
        ("V1 tube 12AU6 : 1=A 2=B", "V1 tube 12AU6 : 1=A B, 2=C"),
    ),
    Mistake(
        lambda at: at.rest.startswith(":") and at.start in ("nodes", "titled", "plain"),
        "no colon belongs in this statement",
        "the word and what it is about, as in touchable CHASSIS, J1.sleeve",
        "remove the colon",
        ("touchable : CHASSIS", "open: A", "mains 117 V : 60 Hz", 'circuit : "as found"'),
    ),
    Mistake(
        lambda at: at.start == "titled",
        "this statement takes one text in quotation marks",
        'text between two "',
        'put a " before and after the text',
        ("circuit as found", "circuit", 'circuit "a " b"; c"'),
    ),
    Mistake(
        lambda at: at.start == "attach" and ":" not in at.before,
        "attach is not written like this",
        'attach "FILE" as NAME : PORT=NODE, ...',
        'write it as in attach "supply.circuit" as SUPPLY : bplus=B1',
        (
            "attach supply.circuit as SUPPLY",
            'attach "supply.circuit"',
            'attach "s.circuit" as : bplus=B1',
        ),
    ),
    Mistake(
        lambda at: at.rest.startswith(":") and (":" in at.before or at.start in CIRCUIT),
        SECOND_COLON.message,
        SECOND_COLON.expected,
        SECOND_COLON.hint,
        ("R1 resistor 1k : A -- B : C", "R1 resistor 1k : A : B : C"),
    ),
)

#: Of so many possible names at most the nearest is looked for, so that one typing mistake in a
#: large file costs little.
_MOST_NAMES = 400


def nearest(word: str, names: Iterable[str]) -> str:
    """Return the name that ``word`` most likely means, or an empty string where none is near."""
    slack, names = max(2, len(word) // 3), list(map(str, names))
    close = [name for name in names if abs(len(name) - len(word)) <= slack and name != word]
    if len(close) > _MOST_NAMES:
        close = [name for name in close if name[0] == word[0]][:_MOST_NAMES]
    same = next((name for name in close if name.casefold() == word.casefold()), "")
    return (
        same
        or next(iter(difflib.get_close_matches(word, close, 1, 0.6)), "")
        or _begun(word, names)
    )


def _begun(word: str, names: list[str]) -> str:
    """Return the one name that begins with a word of three letters or more, or with which it begins
    (``prim``: primary).
    """
    if len(word) < 3 or any(letter.isdigit() for letter in word) or len(names) > _MOST_NAMES:
        return ""
    begun = [
        name
        for name in names
        if name != word
        and (
            name.casefold().startswith(word.casefold()) or (len(name) > 3 and word.startswith(name))
        )
    ]
    return begun[0] if len(begun) == 1 else ""


def a_or_an(word: str) -> str:
    """Return a word with its article: ``a resistor``, ``an electrolytic``."""
    vowel = word[:1] in "aeio" or (word.startswith("un") and not word.startswith("uni"))
    return f"an {word}" if vowel else f"a {word}"
