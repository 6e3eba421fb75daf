"""The head of a part line that cannot be read to its end, read as far as it goes."""

from __future__ import annotations

import re

from lark.exceptions import UnexpectedInput

from rework.circuit.kinds import KINDS
from rework.language.head import Report, attributes
from rework.language.headkind import HALF_KINDS, kind_of
from rework.language.mistakes import nearest
from rework.language.syntax import parse_part
from rework.language.typenumbers import tube_head


def read_lost_head(code: str, report: Report) -> None:
    """Report what is wrong with the head of a part line that can be read as far as ``code`` only.

    Where it can be read to its colon that is the whole head, else a misspelled kind.
    """
    before, colon, _ = code.partition(":")
    first = re.match(r"\s*\S+\s+([A-Za-z]+)(?=\s)", before)
    if first is None or (
        not colon and (first[1] in {*KINDS, *HALF_KINDS} or not nearest(first[1].lower(), KINDS))
    ):
        return
    try:
        line = parse_part(f"{before if colon else first.group()} :")
    except UnexpectedInput:
        return
    kind, rest, _ = kind_of(line, report)
    if kind is not None and colon:
        if kind.name == "tube":
            rest = tube_head(line, rest, report).rest
        attributes(kind, rest, report)
