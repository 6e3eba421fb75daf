"""What the page calls things, as a script that the others import: no piece comes before it."""

from __future__ import annotations

import json

from rework.papers.record import OF_THE_SET

#: How a node is tied in the chosen position: the word under it in the drawing, and what that means.
HOWS = {
    "direct": ("HOT", "hot through conductors, fuses and closed contacts only"),
    "parts": ("HOT by parts", "hot through resistors, heaters, windings or tubes"),
    "capacitor": ("HOT by cap.", "hot through a capacitor"),
    "insulation": ("HOT by insul.", "hot if insulation to the part's own metal fails"),
    "untried": ("tied ?", "tied to the mains; this position was not tried: treat as hot"),
    "cold": ("tied", "tied to the mains, in this position to the other side of the line"),
}
_NAMED = {
    "HOWS": HOWS,
    "UNTIED": "No tie to the mains found in the netlist as written.",
    "UNPROBED": "On the line side: do not probe. Unplug before you reach inside.",
    "OF_THE_SET": OF_THE_SET,
    "ABSENT": {"before": "Not there before.", "after": "Not there after the job."},
}


def script() -> str:
    """Return the script: one constant a name."""
    return "".join(
        f"export const {name} = {json.dumps(values)};\n" for name, values in _NAMED.items()
    )
