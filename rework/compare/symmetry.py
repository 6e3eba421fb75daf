"""Which terminals of a part may be read from either end, so that a part turned round is the same
part.
"""

from __future__ import annotations

from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part, strands, switch_style


def turnable(part: Part) -> tuple[tuple[str, ...], ...]:
    """Return the runs of terminals of a part that mean the same when read backwards.

    A resistor has one run ``("1", "2")``, a DPST switch one a pole, a cable one a core, a bridge
    its two AC terminals; a polar part, a pot, a tube or a winding has none.
    """
    kind = KINDS[part.kind]
    if kind.form == "cores":
        return tuple(run for run in strands(part) if len(run) > 1)
    if kind.form == "poles":
        return tuple(pole for pole in switch_style(part).contacts if len(pole) == 2)
    if kind.name == "bridge":
        return (("ac1", "ac2"),)
    if kind.terminals == ("1", "2") or "bipolar" in part.words:
        return (kind.terminals,)
    return ()


def interchangeable(part: Part) -> dict[str, str]:
    """Return for each terminal in a turnable run a name that it shares with its mirror image in
    that run.
    """
    shared = {}
    for run in turnable(part):
        for index, terminal in enumerate(run):
            shared[terminal] = run[min(index, len(run) - 1 - index)]
    return shared
