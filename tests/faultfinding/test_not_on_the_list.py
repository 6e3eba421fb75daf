"""What is not on the list: it is not called something else for sure."""

from __future__ import annotations

import numpy as np
import pytest

from rework.circuit.edits import Action, Bridge, ExchangeTube, MoveLead
from rework.faultfinding.case import Case, solved_cases
from rework.faultfinding.figures import shown
from rework.faultfinding.rank import Ranking, ranking
from rework.faultfinding.told import sureness_of
from rework.faultfinding.trouble import SingleTrouble, TroubleKind
from rework.language.bench import Quantity

#: A 6AQ5 put on the wires of another base: plate and screen exchanged with the cathode's lead.
_FAR = (MoveLead("V1", "5", "K1"), MoveLead("V1", "2", "PL1"))
WRONGS: dict[str, tuple[Action, ...]] = {
    "plate and cathode leads exchanged": _FAR,
    "a leak of 3.3k from B2 to the cathode": (Bridge("B2", "K1", 3300.0),),
    "R4 on the screen's rail": (MoveLead("R4", "2", "B2"),),
    "C3 on the plate": (MoveLead("C3", "1", "PL1"),),
    "cathode leads of C4 on the grid, and 33k from B1 to the cathode": (
        MoveLead("C4", "plus", "G1"),
        Bridge("K1", "B1", 33e3),
    ),
    "a tube of another kind": (
        ExchangeTube(
            "V1",
            "12BH7A",
            (("1", "G1"), ("2", "K1"), ("3", "H1"), ("4", "COMMON"), ("6", "B2"), ("5", "PL1")),
            ("7", "8", "9"),
        ),
    ),
}


def read_of(solved, actions: tuple[Action, ...], *of: Quantity) -> Ranking | None:
    """Return the ranking of what a meter shows with a wrong made by hand, a third of its error on
    top; None where that has no numbers.
    """
    expected = solved.expected
    wrong = SingleTrouble(TroubleKind.RESISTOR_OFF, "", actions=actions)
    (case,) = solved_cases([(wrong, wrong.made(solved.circuit))], sound=expected.cases[0])
    if not isinstance(case, Case):
        return None
    columns = [n for n in solved.offered if expected.figures[n].of in of]
    shows = shown(case, [expected.figures[n] for n in columns])
    error = np.random.default_rng(1).standard_normal(len(columns)) * np.sqrt(shows.noise) / 3
    return ranking(expected, columns, shows.mean + error)


def is_false(ranks: Ranking) -> bool:
    """Return whether a trouble is called almost certain."""
    first = ranks.groups[0]
    is_told = ranks.is_explained and first.suspect != 0
    return is_told and sureness_of(ranks, first).startswith("almost certain")


@pytest.mark.parametrize("of", [(Quantity.DC,), (Quantity.DC, Quantity.OHMS)], ids=("dc", "ohms"))
def test_nothing_false_is_called_almost_certain(one_tube, of):
    ranks = {name: read_of(one_tube, actions, *of) for name, actions in WRONGS.items()}
    assert [name for name, ranking in ranks.items() if ranking and is_false(ranking)] == []


def test_what_direct_volts_alone_cannot_part_from_a_listed_trouble_ohms_do(one_tube):
    """The grid leak on the plate pulls the grid up to the cathode, as solder between both does."""
    leak = (MoveLead("R3", "2", "PL1"), Bridge("B1", "PL1", 800.0))
    by_volts = read_of(one_tube, leak, Quantity.DC)
    assert "pins-bridged V1 1 2" in dict(by_volts.groups[0].members)
    assert not is_false(read_of(one_tube, leak, Quantity.DC, Quantity.OHMS))


def test_a_trouble_between_two_levels_of_the_list_is_still_the_lists(one_tube):
    """300 ohm across the cathode resistor: between a short and the lightest leak of its bypass."""
    ranks = read_of(one_tube, (Bridge("K1", "COMMON", 900.0),), Quantity.DC, Quantity.OHMS)
    assert ranks.is_explained
    assert ranks.unlisted < 0.1
    assert {"capacitor-leaky C4", "resistor-off R4", "capacitor-reversed C4"} & {
        key for key, _ in ranks.groups[0].members
    }
