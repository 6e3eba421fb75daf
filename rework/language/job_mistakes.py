"""Syntax mistakes in what only a job can say, as ``mistakes`` has those of a circuit."""

from __future__ import annotations

from rework.language.stumble import Mistake

JOB_MISTAKES = (
    Mistake(
        lambda at: at.start == "apply" and at.rest.startswith("?"),
        "variables belong in a rule, not in a job",
        "a plain name",
        "write the name itself",
        ("apply exchange-tube : ?tube=V1",),
    ),
    Mistake(
        lambda at: at.start == "apply",
        "apply is not written like this",
        "apply RULE : NAME=VALUE, ...",
        "write it as in apply exchange-tube : tube=V1, type=6AU6",
        (
            "apply",
            "apply reuse-power-switch switch=S1",
            "apply exchange-tube : tube V1",
            "apply exchange-tube : tube=",
            "apply exchange-tube : =V1",
        ),
    ),
    Mistake(
        lambda at: at.start == "reading" and at.rest[:1] in (":", "="),
        "a reading has no sign between its place and what the meter showed",
        "reading PART.terminal VALUE",
        "write it as in reading V1.plate 241 V",
        ("reading V1.plate: 241 V", "reading V1.plate = 241 V", "reading B1 : 180 V"),
    ),
    Mistake(
        lambda at: at.start == "reading",
        "a reading needs a place and a value with its unit",
        "reading PART.terminal VALUE",
        "write it as in reading V1.plate 241 V",
        ("reading V1.plate 241", "reading V1.plate", "reading 241 V"),
    ),
)
