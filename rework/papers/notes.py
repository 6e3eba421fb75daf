"""The papers for which plain text will do, in Markdown: work order, parts, wires, test plan."""

from __future__ import annotations

from collections.abc import Iterable

from rework.papers.whole import Papers
from rework.report.table import Table, markdown, plain_text


def notes(papers: Papers) -> dict[str, str]:
    """Return the Markdown files by name."""
    return {
        "work-order.md": _page(papers, "Work order", _work(papers)),
        "parts.md": _page(papers, "Parts", _tables(papers.fit, papers.removed, papers.kept)),
        "wires.md": _page(
            papers, papers.wires.title, [papers.wires.lead, "", markdown(papers.wires)]
        ),
        "test-plan.md": _page(papers, "Test plan", _trial(papers)),
    }


def _page(papers: Papers, title: str, lines: Iterable[str]) -> str:
    head = [
        f"# {title}",
        "",
        (
            f"{plain_text(papers.cover.title)}, {plain_text(papers.date)}. Unplug, discharge,"
            " measure; one hand; the bench isolated. Local electrical codes and licensed practice"
            " rule over anything here."
        ),
        "",
    ]
    return "\n".join([*head, *lines]).rstrip("\n") + "\n"


def _tables(*found: Table) -> list[str]:
    return [
        line
        for table in found
        for line in (
            f"## {table.title}",
            "",
            *((table.lead, "") if table.rows else ()),
            markdown(table),
        )
    ]


def _work(papers: Papers) -> list[str]:
    lines: list[str] = []
    for number, group in enumerate(papers.work, 1):
        lines += [
            f"## {number}. {group.title}",
            "",
            *(f"- {plain_text(one)}" for one in group.first),
            "",
        ]
        for step in group.steps:
            lines.append(f"- [ ] **{step.number}. {plain_text(step.what)}**")
            lines += [f"  - **Caution** {plain_text(one)}" for one in step.cautions]
            lines += [
                f"  - where: {plain_text(step.where)}",
                f"  - why: {plain_text(step.why)}",
                f"  - check: {plain_text(step.check)}",
            ]
        lines.append("")
    return lines


def _trial(papers: Papers) -> list[str]:
    lines: list[str] = []
    for one in papers.trial:
        lines += [
            f"## [ ] {one.number}. {one.title}",
            "",
            f"- how: {plain_text(one.how)}",
            f"- with: {plain_text(one.instrument)}",
            f"- limit: **{plain_text(one.limit)}** ({plain_text(one.source)})",
            f"- stop: {plain_text(one.stop)}",
            "",
        ]
        if one.rows:
            lines += [
                "| | " + " | ".join(one.columns) + " |",
                "|---" * (len(one.columns) + 1) + "|",
                *(
                    "| " + plain_text(row) + " |" + " ______ |" * len(one.columns)
                    for row in one.rows
                ),
                "",
            ]
    return lines
