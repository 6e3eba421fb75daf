"""The papers for which plain text will do, in Markdown: work order, parts, wires, test plan."""

from __future__ import annotations

from collections.abc import Iterable

from rework.papers.trial.plan import PlannedTest
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
            " take precedence over these pages."
        ),
        "",
    ]
    return "\n".join([*head, *lines]).rstrip("\n") + "\n"


def _tables(*tables: Table) -> list[str]:
    return [
        line
        for table in tables
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
            *(f"- {plain_text(line)}" for line in group.first),
            "",
        ]
        for step in group.steps:
            lines.append(
                f"- [{'x' if step.done else ' '}] **{step.number}. {plain_text(step.what)}**"
            )
            lines += [f"  - **Caution** {plain_text(caution)}" for caution in step.cautions]
            lines += [f"  - {plain_text(line)}" for line in step.lines]
            lines += [
                f"  - where: {plain_text(step.where)}",
                f"  - why: {plain_text(step.why)}",
                f"  - check: {plain_text(step.check)}",
            ]
        lines += [f"\n**{plain_text(line)}**" for line in group.last]
        lines.append("")
    return lines


def _trial(papers: Papers) -> list[str]:
    lines: list[str] = []
    for group in papers.trial:
        lines += [f"# {plain_text(group.title)}", "", plain_text(group.lead), ""]
        for test in group.tests:
            lines += _test(test)
    return lines


def _test(test: PlannedTest) -> list[str]:
    lines = [
        f"## [{'x' if test.verdict == 'pass' else ' '}] {test.number}. {test.title}",
        "",
        f"- how: {plain_text(test.how)}",
        f"- with: {plain_text(test.instrument)}",
        f"- limit: **{plain_text(test.limit)}** ({plain_text(test.source)})",
        f"- stop: {plain_text(test.stop)}",
        *(
            [f"- record: {plain_text(', '.join(filter(None, record)))}"]
            if any(record := (test.verdict, test.result, test.signed))
            else []
        ),
        "",
    ]
    if test.rows:
        blanks = " ______ |" * len(test.columns)
        lines += [
            "| | " + " | ".join(test.columns) + " |",
            "|---" * (len(test.columns) + 1) + "|",
            *(f"| {plain_text(row)} |{blanks}" for row in test.rows),
            "",
        ]
    return lines
