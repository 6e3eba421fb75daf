"""The tables of touch currents, faults and stored charge as the page and the papers take them: every
column with its look, method and unit, every row with its mark; kept for a person to read.
"""

from __future__ import annotations

from pathlib import Path

from rework.language.files import wanted_circuit
from rework.touch.fault_words import faults_table, under_table
from rework.touch.faults import faults
from rework.touch.stored import stored
from rework.touch.stored_words import stored_table
from rework.touch.touch import touch
from rework.touch.words import assumed_table, limits_table, side_by_side, touch_table

CASES = Path(__file__).parents[1] / "cases"


def in_words(table) -> str:
    """Return a table as lines, its columns first."""
    heads = [f"{c.title or '-'} ({c.look}{', ' + c.how if c.how else ''})" for c in table.columns]
    rows = [
        " | ".join(f"{cell:.3g}" if isinstance(cell, float) else str(cell) for cell in row)
        for row in table.rows
    ]
    marked = [f"{row} [{mark}]" for row, mark in zip(rows, table.marks, strict=False)] or rows
    lines = (f"{table.key}: {table.title}", table.lead, *heads, *marked, table.why)
    return "\n".join(line for line in lines if line)


def test_every_table_is_what_was_read_and_approved(golden):
    hot, bench = (
        wanted_circuit(CASES / name)[0]
        for name in ("bridged-isolation-b.circuit", "two-tube-bench-set.circuit")
    )
    then, now = touch(hot), touch(bench)
    broken = faults(bench)
    tables = (
        touch_table(then, every=True),
        side_by_side(then, now),
        limits_table(),
        assumed_table(now.assumed),
        faults_table(broken),
        under_table(broken),
        stored_table(stored(bench)),
    )
    golden("said/touch/tables.txt", "\n\n".join(map(in_words, tables)) + "\n")
