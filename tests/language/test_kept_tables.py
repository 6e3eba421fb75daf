"""The tables of a grammar are kept for the next run, and what is read with them is the same."""

from __future__ import annotations

import pytest

from rework.language.syntax import circuit_parser, parse_part

LINE = "R3 resistor 220k 10% 1/2 W : B2 -- V1.plate"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """Return the folder of the tables, with no parser built yet; the usual one is built after."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    circuit_parser.cache_clear()
    yield tmp_path / "rework"
    circuit_parser.cache_clear()


def test_a_line_reads_the_same_with_tables_built_and_kept(folder):
    built = parse_part(LINE)
    (kept,) = folder.iterdir()
    written = kept.stat().st_mtime_ns
    circuit_parser.cache_clear()
    assert parse_part(LINE) == built
    assert kept.stat().st_mtime_ns == written, "read, not built again"


def test_a_spoilt_file_of_tables_is_built_again(folder):
    built = parse_part(LINE)
    (kept,) = folder.iterdir()
    kept.write_bytes(kept.read_bytes()[:200])
    circuit_parser.cache_clear()
    assert parse_part(LINE) == built


def test_a_folder_that_others_may_write_to_is_not_used(folder):
    folder.mkdir()
    folder.chmod(0o777)
    parse_part(LINE)
    assert list(folder.iterdir()) == []
