"""What the bench writes from the page: readings into the job file, ticks and results into a record
beside it; whole or not at all, and never over an edit made meanwhile.

What a record is and how it is read: ``papers.record``.
"""

from __future__ import annotations

import json
import re
import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from rework.circuit.place import Problem, errors
from rework.language.files import Refusal, read_bytes, write_whole
from rework.language.job import read_job
from rework.papers.record import (
    FIELDS,
    KINDS,
    VERDICTS,
    Entry,
    digest,
    read_record,
    record_of,
)
from rework.report.problems import problem_text

#: Letters in one field of the page.
MOST_LETTERS = 200


def seen_now(job: Path) -> dict[str, str]:
    """Return the hashes of the ``job`` and of its ``record``; nothing for a file not there."""
    files = {"job": job, "record": record_of(job)}
    return {
        name: digest(path.read_bytes()) if path.exists() else "" for name, path in files.items()
    }


def write_entry(job: Path, seen: str, entry: Entry, *, ticked: bool) -> None:
    """Put an entry into the record in place of the one of its kind and words, or take it out.

    ``seen`` is the hash of the record as the page has it. Raises Refusal where the file is another
    by now, or cannot be written.
    """
    record = read_record(job)
    if record.seen != seen:
        raise _edited(record_of(job))
    kept = [
        earlier
        for earlier in record.entries
        if (earlier.kind, earlier.what) != (entry.kind, entry.what)
    ]
    if ticked:
        kept.append(replace(entry, at=time.strftime("%Y-%m-%dT%H:%M:%S")))
    _write(record_of(job), _record_text(job, kept), seen)


def entry_of(asked: Mapping[str, object]) -> Entry | None:
    """Return the entry that a browser sends; None where it is none."""
    fields = {field: str(asked.get(field, "")).strip() for field in FIELDS}
    long = any(
        len(text) > (1000 if field == "what" else MOST_LETTERS) for field, text in fields.items()
    )
    if long or not fields["what"] or fields["kind"] not in KINDS:
        return None
    if fields["verdict"] not in VERDICTS:
        return None
    return Entry(**{field: _printable(text) for field, text in fields.items()})


def _record_text(job: Path, entries: Sequence[Entry]) -> str:
    out = [f"# Record of {_printable(job.name)}, written by rework view."]
    for entry in entries:
        out += ["", "[[entry]]"]
        for field in FIELDS:
            if value := getattr(entry, field):
                out.append(f"{field} = {json.dumps(value, ensure_ascii=False)}")
    return "\n".join(out) + "\n"


def write_reading(job: Path, seen: str, at: str, value: str, remark: str = "") -> None:
    """Put a ``reading`` line into the job in place of the one for that pin or node; without a value
    take it out.

    Raises Refusal where the job is another file by now than the page has seen, where the line is no
    reading, or where the file cannot be written.
    """
    data = read_bytes(job)
    if digest(data) != seen:
        raise _edited(job)
    text = data.decode("utf-8", errors="surrogateescape")
    line = f"reading {at} {value}" + (f' "{remark}"' if remark else "")
    if re.search(r'["\r\n]', f"{at}{value}{remark}"):
        raise Refusal(Problem("A reading is one line without quotation marks."))
    changed = with_reading(text, at, line if value else "")
    _hold(job, text, changed)
    _write(job, changed, seen)


def with_reading(text: str, at: str, line: str) -> str:
    """Return the text of a job with a reading put in, in place of that of the same kind between the
    same points since the last repair and in the same state of the bench, else after the last one,
    else at the end; an empty line takes it out, whatever it read.
    """
    ending = "\r\n" if "\r\n" in text else "\n"
    lines = text.split(ending)
    same = re.compile(rf"reading\s+{re.escape(at)}\s+(?!to\s)")
    every = [number for number, line in enumerate(lines) if re.match(r"reading\s", line)]
    rounds = [n for n, line in enumerate(lines) if re.match(r"(repaired|bench)\s", line)]
    mine = [
        number
        for number in every
        if number > max(rounds, default=-1)
        and same.match(lines[number])
        and (not line or _kind(lines[number]) == _kind(line))
    ]
    if mine:
        lines[mine[0] : mine[0] + 1] = [line] if line else []
        return ending.join(lines)
    if not line:
        return text
    if every:
        lines.insert(max(every[-1], *rounds, -1) + 1, line)
        return ending.join(lines)
    body = text.rstrip("\r\n")
    return f"{body}{ending}{ending}{line}{ending}"


def _kind(line: str) -> tuple[bool, bool, bool]:
    """Return whether a reading is of ohms, of alternating volts, and of amps."""
    words = line.partition('"')[0]
    ohms = re.search(r"ohm\b|\b(?:open|OL)\b", words)
    alternating = re.search(r"\b(?:AC|ripple|hum|signal)\b", words)
    return bool(ohms), bool(alternating), bool(re.search(r"\d\s*[mu]?A\b", words))


def _hold(job: Path, old: str, new: str) -> None:
    """Raise Refusal with what is wrong where a text is a job no more that was one."""
    before, after = (
        errors(read_job(text.encode("utf-8", errors="surrogateescape"), file=job.name)[1])
        for text in (old, new)
    )
    if len(after) > len(before):
        raise Refusal(*after)


def _edited(path: Path) -> Refusal:
    return Refusal(
        Problem(
            f"{path.name} was edited in the meantime. Nothing was written.",
            hint="read the present version, then enter it again",
        )
    )


def _write(path: Path, text: str, seen: str) -> None:
    now = digest(path.read_bytes()) if path.exists() else ""
    if now != seen:
        raise _edited(path)
    write_whole(path, text.encode("utf-8", errors="surrogateescape"), force=True)


def refusal_words(refusal: Refusal) -> str:
    """Return why something was not written."""
    return "\n".join(problem_text(problem) for problem in refusal.problems)


def _printable(text: str) -> str:
    return "".join(letter for letter in text if letter.isprintable())
