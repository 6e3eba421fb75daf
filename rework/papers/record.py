"""The record of a job: what was done and measured, by whom, when and with which instrument.

It is kept in ``NAME.record.toml`` beside the job, a list of ``[[entry]]``: ``kind`` (``set``,
``work`` or ``test``), ``what`` (its words), ``at`` (when it was written), ``result``, and for a
test ``verdict`` (``pass``, ``fail`` or nothing), ``by`` and ``instrument``. The page of ``rework
view`` writes it; whoever prefers an editor may.
"""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from rework.circuit.place import Problem
from rework.language.files import Refusal, read_bytes
from rework.papers.trial.plan import PlannedTest, TrialGroup
from rework.papers.work import WorkGroup

Kind = Literal["set", "work", "test"]
KINDS: tuple[Kind, ...] = ("set", "work", "test")
VERDICTS = ("", "pass", "fail")
FIELDS = ("kind", "what", "at", "result", "verdict", "by", "instrument")
#: What a record says of the whole job, in the order it is printed.
OF_THE_SET = ("Plate number", "Job number", "Owner", "Measured by", "Instrument", "Date")


@dataclass(frozen=True)
class Entry:
    """One line of the record: what was ticked or written, when, and what was found."""

    kind: str
    what: str
    at: str
    result: str = ""
    verdict: str = ""
    by: str = ""
    instrument: str = ""

    @property
    def signature(self) -> str:
        """When and by whom, with what: as it is printed beside a test."""
        day, _, clock = self.at.partition("T")
        return ", ".join(filter(None, (f"{day} {clock[:5]}".strip(), self.by, self.instrument)))


@dataclass(frozen=True)
class Record:
    """A record and the hash of its file; ``seen`` is empty where there is no file yet."""

    entries: tuple[Entry, ...] = ()
    seen: str = ""

    def entry(self, kind: Kind, what: str) -> Entry | None:
        """Return the last entry of a kind and words, or None."""
        same = [entry for entry in self.entries if (entry.kind, entry.what) == (kind, what)]
        return same[-1] if same else None

    @property
    def of_the_set(self) -> tuple[tuple[str, str], ...]:
        """What it says of the whole job: a word and its value, empty where nothing is written."""
        entries = {word: self.entry("set", word) for word in OF_THE_SET}
        return tuple((word, entry.result if entry else "") for word, entry in entries.items())


def digest(data: bytes) -> str:
    """Return what tells one state of a file from another."""
    return hashlib.sha256(data).hexdigest()[:32]


def record_of(job: Path) -> Path:
    """Return the file of the record of a job."""
    return job.with_suffix(".record.toml")


def read_record(job: Path) -> Record:
    """Return the record beside a job; an empty one where there is none.

    Raises Refusal where it is not a record.
    """
    path = record_of(job)
    if not path.exists():
        return Record()
    data = read_bytes(path)
    try:
        rows = tomllib.loads(data.decode())["entry"]
        entries = tuple(
            Entry(**{field: str(row.get(field, "")) for field in FIELDS}) for row in rows
        )
    except (
        UnicodeDecodeError,
        tomllib.TOMLDecodeError,
        KeyError,
        TypeError,
        AttributeError,
    ) as error:
        raise Refusal(
            Problem(
                f"{path.name} is not a record: {error}",
                expected="the file that rework view writes",
                hint="correct it, or move it away; the page then begins a new one",
            )
        ) from error
    return Record(entries, digest(data))


def with_ticks(work: Sequence[WorkGroup], record: Record) -> tuple[WorkGroup, ...]:
    """Return the work order with the day of every step that the record has as done."""
    return tuple(
        replace(
            group,
            steps=tuple(
                replace(step, done=entry.at.partition("T")[0] or "done")
                if (entry := record.entry("work", step.what))
                else step
                for step in group.steps
            ),
        )
        for group in work
    )


def with_results(plan: Sequence[TrialGroup], record: Record) -> tuple[TrialGroup, ...]:
    """Return the test plan with what the record has of each test."""
    return tuple(
        replace(group, tests=tuple(_with_result(test, record) for test in group.tests))
        for group in plan
    )


def _with_result(test: PlannedTest, record: Record) -> PlannedTest:
    entry = record.entry("test", test.title)
    if entry is None:
        return test
    return replace(test, result=entry.result, verdict=entry.verdict, signed=entry.signature)
