"""Ranking a shop's whole list: the sieve and a few exact solutions, against a plain loop of exact
solutions over a part of the same pairs.
"""

import random
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests" / "supply"))

from demo_amplifiers import amplifier_of, needs_of, shelf_of  # noqa: E402

from rework.supply.choose import choice_of  # noqa: E402
from rework.supply.design import design  # noqa: E402
from rework.supply.evaluate import evaluate  # noqa: E402
from rework.supply.filters import Behind  # noqa: E402
from rework.supply.screen import Rough  # noqa: E402
from rework.supply.sources import Wishes, sources  # noqa: E402
from rework.supply.stock import Shelf, StockChoke, StockTransformer, StockWinding  # noqa: E402


def shop(count: int) -> Shelf:
    """Return the demo list with ``count`` invented transformers in place of its own."""
    chance, made = random.Random(5), []
    for number in range(count):
        volts, tapped, va = (
            chance.uniform(90, 300),
            chance.random() < 0.5,
            chance.choice((20.0, 30.0, 40.0, 60.0, 80.0)),
        )
        hv = StockWinding(
            "hv",
            2 * volts if tapped else volts,
            chance.choice((0.06, 0.09, 0.12, 0.2)),
            volts * (1.2 if tapped else 0.3),
            tapped,
        )
        made.append(
            StockTransformer(
                name=f"X{number}",
                va=va,
                price=round(va, 2),
                windings=(
                    StockWinding("primary", 117.0, None, 450 / va, False),
                    hv,
                    StockWinding(
                        "heater", 6.3, chance.choice((1.5, 2.0, 3.0)), 0.08, chance.random() < 0.5
                    ),
                    StockWinding("rectifier", 6.3, 1.0, 0.2, False),
                ),
            )
        )
    return Shelf(
        (*made, *(item for item in shelf_of().items if not isinstance(item, StockTransformer)))
    )


def test_ranking_five_hundred_transformers_against_a_plain_loop_of_exact_solutions():
    """Ratio in one run: the loop is timed on four of its pairs."""
    amp, needs, shelf = amplifier_of("rink"), needs_of("rink"), shop(500)
    start = time.perf_counter()
    found = design(amp, shelf, needs=needs)
    took = time.perf_counter() - start
    choke, wishes = shelf.of(StockChoke)[0], Wishes()
    some = [source for source in sources(shelf, needs, wishes)[0] if source.open_volts < 250][
        :40:10
    ]
    start = time.perf_counter()
    for source in some:
        rough = Rough(
            source, Behind("C-L-C", 47e-6, choke), 0.0, 0.0, 47e-6, 0.0, 0.0, 0.0, 0.0, 0.0
        )
        evaluate(choice_of(rough, shelf, wishes, needs), amp, needs, shelf)
    each = (time.perf_counter() - start) / len(some)
    ratio = each * found.pairs / took
    print(
        f"\n{found.pairs} pairs ranked in {took:.2f} s; one exact solution {each:.3f} s;"
        f" {ratio:.0f} times a plain loop"
    )
    assert found.chosen is not None
    assert ratio > 50
