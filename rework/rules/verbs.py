"""What a rule can do, and how each is written.

``fit``, ``run`` and ``insert`` take a part line of the circuit language instead.
"""

from __future__ import annotations

from rework.rules.rule import Term

#: Verbs followed by a part line.
PART_LINE_VERBS = ("fit", "run", "insert")

#: Every other verb with the ways to write it; capitals stand for a name, a ?variable or a
#: {parameter}.
SHAPES: dict[str, tuple[str, ...]] = {
    "remove": ("remove PART",),
    "cut": ("cut CONDUCTOR",),
    "lift": ("lift PART", "lift PART.terminal"),
    "free": ("free PART.terminal",),
    "move": (
        "move PART from NODE to NODE",
        "move PART.terminal to NODE",
        "move PART from NODE to NODE in COLOUR",
        "move PART.terminal to NODE in COLOUR",
    ),
    "leave": ("leave socket of TUBE",),
    "exchange": ("exchange TUBE for TYPE",),
    "set": ("set PART to VALUES ...",),
}

#: What each verb does, for the manual.
MEANS = {
    "remove": "take the part out",
    "cut": "cut the trace, or take the wire out",
    "lift": "take the terminal (or every terminal) off what it is on",
    "free": (
        "part the terminal from its node: its traces are cut and its wires taken out where nothing"
        " else is there, otherwise the terminal is lifted"
    ),
    "move": "take the terminal off one node and run a wire from it to the other",
    "leave": (
        "take the tube out and leave its empty socket; a pin stays as a tie point only where it is"
        " on no line"
    ),
    "exchange": "put the other type in, every element carried to the pin where the new type has it",
    "set": "exchange the part for one of another value",
    "fit": "fit a new part",
    "run": "run a conductor",
    "insert": (
        "put a new part between a terminal and the node it is on, as in insert R# resistor 47 ohm"
        " 5 W : ?D.anode -- ?l"
    ),
}


def shape_of(verb: str, words: tuple[Term, ...]) -> tuple[Term, ...] | None:
    """Return what fills the gaps of the way of writing ``verb`` that ``words`` follow, or None."""
    for shape in SHAPES[verb]:
        wanted = shape.split()[1:]
        many = wanted[-1] == "..."
        if many:
            wanted = wanted[:-1]
        if len(words) < len(wanted) or (len(words) > len(wanted) and not many):
            continue
        gaps = []
        for index, word in enumerate(words):
            want = wanted[min(index, len(wanted) - 1)]
            if want.islower():
                if word.form != "word" or word.text != want:
                    break
            elif (want.endswith(".terminal") and not (word.pin or "." in word.text)) or (
                not want.endswith(".terminal")
                and want in ("PART", "TUBE", "CONDUCTOR")
                and word.pin
            ):
                break
            else:
                gaps.append(word)
        else:
            return tuple(gaps)
    return None
