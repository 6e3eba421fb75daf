"""The options as one page of HTML to print."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from rework.commands.options_words import (
    CAUTION,
    LOUD,
    NOT_COMPUTED,
    Labour,
    grid,
    heading,
    remarks,
)
from rework.supply.options import Options

#: Width of the column of labels, a share of the page in percent.
LABEL = 12.8
STYLE = """
@page { size: A4 landscape; margin: 7mm }
body {
  font: 7.8pt/1.18 Arial, Helvetica, sans-serif;
  color: #1d1d1b;
  background: #fff;
  margin: 7mm auto;
  max-width: 283mm;
}
h1 { font-size: 12pt; margin: 0 0 .5mm }
p { margin: 0 0 .5mm }
table { border-collapse: collapse; width: 100%; margin: 1.5mm 0; table-layout: fixed }
th, td {
  border: .3pt solid #6b7076;
  padding: .2mm 1.1mm;
  text-align: left;
  vertical-align: top;
}
thead th { background: #e9ecee }
tbody th { font-weight: normal; background: #f5f6f7; white-space: nowrap }
td.loud { font-weight: bold; border: 2pt double #1d1d1b }
td.none { color: #6b7076 }
tr.remarks td { font-size: 6.6pt; line-height: 1.13 }
ul { margin: 0; padding-left: 3.4mm }
li { margin-bottom: .15mm; overflow-wrap: anywhere }
tr.against ul { list-style-type: "\u2013 " }
.caution { font-size: 7pt }
@media print { body { margin: 0 } tr { break-inside: avoid } }
"""


def options_page(options: Options, shelf: str, labour: Labour) -> str:
    """Return one page of HTML that needs nothing else: no network, no script.

    What the netlist says is never markup in it.
    """
    head, *rows = grid(options, labour)
    lead = "".join(f"<p>{escape(line)}</p>" for line in heading(options, shelf, labour))
    heads = "".join(f"<th>{escape(text)}</th>" for text in head)
    columns = remarks(options)
    body = "".join(map(_row, rows))
    body += _lists("against", [against for _, _, against in columns])
    body += _lists("made of", [steps for _, steps, _ in columns])
    title = escape(options.title)
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>{title}: options</title><style>{STYLE}</style></head>\n"
        f"<body><h1>{title}</h1>{lead}\n"
        f"<table><colgroup>{_widths(columns)}</colgroup><thead><tr>{heads}</tr></thead>\n"
        f'<tbody>{body}</tbody></table>\n<p class="caution">{escape(CAUTION)}</p></body></html>\n'
    )


def _row(row: Sequence[str]) -> str:
    cells = "".join(f"<td{_class(text)}>{escape(text)}</td>" for text in row[1:])
    return f"<tr><th>{escape(row[0])}</th>{cells}</tr>\n"


def _class(text: str) -> str:
    if any(word in text for word in LOUD):
        return ' class="loud"'
    missing = text in ("-", NOT_COMPUTED, "not stated", "not in the job")
    return ' class="none"' if missing else ""


def _lists(label: str, lists: Sequence[Sequence[str]]) -> str:
    cells = "".join(
        f"<td><ul>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</ul></td>"
        if lines
        else "<td></td>"
        for lines in lists
    )
    return f'<tr class="remarks {label}"><th>{label}</th>{cells}</tr>\n'


def _widths(columns: Sequence[tuple[str, Sequence[str], Sequence[str]]]) -> str:
    """Return the columns of the table: those with longer lists are wider."""
    sizes = [max(sum(map(len, [*against, *steps])), 300) ** 0.5 for _, steps, against in columns]
    shares = [LABEL, *((100 - LABEL) * size / sum(sizes) for size in sizes)]
    return "".join(f'<col style="width: {share:.1f}%">' for share in shares)
