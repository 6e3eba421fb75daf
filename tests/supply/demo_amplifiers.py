"""The demo amplifiers without their supplies, and the demo stock list."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from rework.language.files import read_bytes, read_circuit_file
from rework.language.job import read_job
from rework.supply.amplifier import Amplifier, amplifier
from rework.supply.design import Design, design
from rework.supply.mark_names import mark_words
from rework.supply.marks import Mark
from rework.supply.needs import Needs, needs
from rework.supply.sources import Wishes
from rework.supply.stock_reader import read_shelf

CIRCUITS = Path(__file__).parents[2] / "circuits"
DEMOS = ("pager", "rink", "hostel", "skihut")


@cache
def amplifier_of(name: str) -> Amplifier:
    """Return the amplifier of a demo; its own supply is never looked at."""
    path = CIRCUITS / name / f"{name}.job"
    job, problems = read_job(read_bytes(path), file=str(path))
    assert job, problems

    def read(file: str):
        assert file != "supply.circuit", "the supply that the job attaches need not be there"
        return read_circuit_file(path.parent / file)

    return amplifier(job, read, folder=path.parent)


@cache
def needs_of(name: str) -> Needs:
    """Return what a demo needs."""
    return needs(amplifier_of(name))


@cache
def design_of(name: str) -> Design:
    """Return the design for a demo from the demo list; for the pager of one form alone, so that the
    tests stay quick.
    """
    wishes = Wishes(("bridge",), back_to_back=False) if name == "pager" else Wishes()
    return design(amplifier_of(name), shelf_of(), needs=needs_of(name), wishes=wishes)


@cache
def shelf_of():
    """Return the demo list."""
    found, problems = read_shelf((CIRCUITS / "shelf.csv").read_bytes(), file="shelf.csv")
    assert found, problems
    return found


def mark_line(mark: Mark) -> str:
    """Return a figure against its limit on a line that a person can hold to the sheets."""
    ends = [
        f"{word} {end:.3g}"
        for word, end in (("at least", mark.least), ("at most", mark.most))
        if end is not None
    ]
    verdict = "met" if mark.met else "NOT MET"
    return (
        f"  {mark_words(mark)}: {mark.value:.3g} {mark.unit}, {' and '.join(ends)};"
        f" {mark.share:.2f}, {mark.kind}, {verdict}"
    )
