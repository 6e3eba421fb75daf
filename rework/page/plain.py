"""The page for a browser without scripts: verdicts, drawings, netlist, tables as they are now."""

from __future__ import annotations

from pathlib import Path

from rework.page.board import Board
from rework.page.figures import SUMS

_SIDES = ("after", "before")


def plain_page(board: Board) -> str:
    """Return the page. It is up to date when it is loaded and does not follow the files."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    surroundings = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return surroundings.get_template("plain.html").render(
        head=board.piece("head"),
        strip=board.piece("strip") or [],
        problems=board.piece("problems"),
        netlist=board.piece("netlist") or [],
        check=board.piece("check") or {},
        lists=(board.piece("lists") or {}).values(),
        work=board.piece("work") or [],
        tests=board.piece("tests") or [],
        drawings=[
            (side, sheet["name"])
            for side in _SIDES
            for sheet in (board.piece(f"drawing.{side}") or {}).get("sheets", ())
        ],
        sums=[
            (f"{words}, {side}", board.piece(f"{name}.{side}"))
            for name, words in SUMS.items()
            for side in _SIDES
            if board.piece(f"{name}.{side}")
        ],
    )
