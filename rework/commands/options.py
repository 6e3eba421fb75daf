"""``rework options``: the five ways to go with an amplifier, side by side, as a table, JSON, or one
page to print.

Exit status 0 when the table could be made: what it finds is told in it. ``--json``: ``title``,
``drafted``, ``shelf``, ``notes``, ``labour`` and ``options``, each with ``kind``, ``title``,
``steps``, ``why`` (why it is not to be had), ``notes``, ``against``, every row of the table in SI
by its name in ``supply/assess.py``, ``missing`` (row: why it is not computed), ``price``,
``unpriced`` and ``reversible``.
"""

from __future__ import annotations

import argparse
import json
import os
from pathlib import Path

from rework.circuit.place import Problem
from rework.language.files import Refusal, circuit_reader, wanted_circuit, write_whole
from rework.report.terminal import printable, progress
from rework.rules.job_file import is_job, run_job_file


def run(asked: argparse.Namespace) -> int:
    """Make the options, print them, and write the page and the drafted job where they are asked
    for.
    """
    from rework.commands.options_words import options_json, options_page, options_text
    from rework.supply.draft import draft_text
    from rework.supply.options import WORK, options
    from rework.supply.stock_file import stock_list

    for path, suffix in ((asked.output, ".html"), (asked.draft, ".job")):
        if path and Path(path).suffix != suffix:
            raise Refusal(
                Problem(
                    f"{path} is no {'page' if suffix == '.html' else 'job'}",
                    expected=f"a file that ends in {suffix}",
                )
            )
        if path and Path(path).exists() and not asked.force:
            raise Refusal(
                Problem(
                    f"{path} is there already",
                    hint="name another file, or add --force to replace it",
                )
            )
    folder = Path(asked.file).parent
    run = run_job_file(asked.file) if is_job(asked.file) else None
    circuit = run.before if run else wanted_circuit(asked.file)[0]
    if not any(part.kind == "plug" for part in circuit.parts):
        raise Refusal(
            Problem(
                f"{asked.file} has no plug, so there is no set on the line to choose for",
                expected="an amplifier as it was found, with its line cord",
            )
        )
    shelf, shelf_file = stock_list(asked.shelf, run.job.prices if run else "", folder)
    with progress("options", WORK) as bar:
        found = options(
            circuit,
            shelf,
            run=run,
            read=circuit_reader(folder) if run else None,
            folder=folder if run else None,
            step=bar.update,
        )
    labour = (run.job.labour, run.job.rate) if run else (None, None)
    if asked.json:
        print(json.dumps(options_json(found, shelf_file, labour), indent=2, ensure_ascii=False))
    else:
        print(options_text(found, shelf_file, labour))
    if asked.output:
        write_whole(
            asked.output, options_page(found, shelf_file, labour).encode(), force=asked.force
        )
    if asked.draft:
        if found.job is None or not found.drafted:
            raise Refusal(
                Problem(
                    "there is nothing drafted to write: "
                    + (
                        "the file is a job already"
                        if run
                        else "no job could be drafted, see the table"
                    ),
                    hint="leave --draft away",
                )
            )
        write_whole(
            asked.draft,
            draft_text(found.job, os.path.relpath(asked.file, Path(asked.draft).parent)).encode(),
            force=asked.force,
        )
    if not asked.json:
        for path in filter(None, (asked.output, asked.draft)):
            print(f"{printable(path)} is written.")
    return 0
