"""The isolating transformer of a job that keeps the old supply, in words."""

from __future__ import annotations

from rework.commands.mark_words import item_words
from rework.report.figures import shown
from rework.report.story import Headline, Story, lines
from rework.supply.isolate import Isolated

CAUTION = (
    "These figures are computed, not measured. Before you fit the transformer, measure from primary"
    " to secondary and from each to the core: an autotransformer isolates nothing. The work is on"
    " the mains: local codes and licensed practice come first. Work with one hand. Discharge before"
    " you touch."
)


def isolating_story(isolated: Isolated, rated: float | None, *, title: str, shelf: str) -> Story:
    """Return which isolating transformer a set wants, against the VA that its job states."""
    item, load = isolated.transformer, isolated.load
    price = f", {item.price:.2f}" if item.price is not None else ""
    return (
        Headline(f"{title}: its isolating transformer"),
        *lines(
            "The job keeps the old supply behind an isolating transformer, so there is no other"
            " supply to design.",
            ""
            if load is None
            else f"The set takes {shown(load[0], 'A')} RMS from it: {load[1]:.0f}"
            f" VA at the volts of the line.",
            f"On {shelf}: {item_words(item)}{price}, the smallest that carries it."
            if isolated.on_shelf
            else f"To order: at least {item.va:g} VA.",
            f"Line fuse with it: {item_words(isolated.fuse)}.",
        ),
        *lines(*isolated.notes, look="list"),
        *_of_the_job(isolated, rated),
        *lines(CAUTION),
    )


def _of_the_job(isolated: Isolated, rated: float | None) -> Story:
    """Return whether the transformer that the job states carries the set."""
    if rated is None or isolated.load is None:
        return ()
    if rated >= isolated.load[1]:
        return lines(f"The {rated:g} VA that the job states are enough.", look="good")
    return lines(
        f"The {rated:g} VA that the job states are too few for {isolated.load[1]:.0f} VA.",
        look="bad",
    )
