"""What is kept from one command to the next: read back under its stamp alone, made anew else."""

from __future__ import annotations

import os
import pickle

import pytest

from rework.language.kept import kept, stamp_of
from rework.rules import catalogue


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """Return the folder where things are kept, empty."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path / "rework"


def not_asked():
    raise AssertionError("it is kept and need not be made")


def test_a_value_is_made_once_under_a_name_and_stamp(folder):
    assert kept("figures", "of today", lambda: (1, 2)) == (1, 2)
    assert kept("figures", "of today", not_asked) == (1, 2)
    assert kept("figures", "of tomorrow", lambda: (3,)) == (3,)
    assert [path.name for path in folder.iterdir()] == ["figures"], "the old one is replaced"


@pytest.mark.parametrize("spoilt", [b"", b"not a pickle", pickle.dumps(7), pickle.dumps((1, 2, 3))])
def test_a_spoilt_file_is_made_anew(folder, spoilt):
    kept("figures", "of today", lambda: 1)
    (folder / "figures").write_bytes(spoilt)
    assert kept("figures", "of today", lambda: 2) == 2
    assert kept("figures", "of today", not_asked) == 2


def test_nothing_is_read_from_a_folder_that_others_may_write_to(folder):
    kept("figures", "of today", lambda: 1)
    folder.chmod(0o777)
    assert kept("figures", "of today", lambda: 2) == 2


def test_what_cannot_be_kept_is_returned_all_the_same(folder):
    unkept = kept("figures", "of today", lambda: lambda: 5)
    assert unkept() == 5


def test_a_stamp_changes_with_every_file_that_counts(tmp_path):
    stamps = [stamp_of(tmp_path)]
    (tmp_path / "a.rule").write_text("rule a")
    stamps.append(stamp_of(tmp_path))
    (tmp_path / "a.rule").write_text("rule b")
    os.utime(tmp_path / "a.rule", ns=(1, 1))
    stamps.append(stamp_of(tmp_path))
    (tmp_path / "inner").mkdir()
    (tmp_path / "inner" / "words.py").write_text("")
    stamps.append(stamp_of(tmp_path))
    (tmp_path / "note.txt").write_text("of no consequence")
    assert len(set(stamps)) == 4
    assert stamp_of(tmp_path) == stamps[-1]


def test_a_built_in_rule_reads_the_same_from_its_file_and_kept(folder):
    (path,) = (path for path in catalogue.BUILTIN.glob("*.rule") if path.stem == "remove-filter")
    read = catalogue.read_file(path, called=path.name)
    for _ in range(2):
        catalogue.load_builtin.cache_clear()
        assert catalogue.load("remove-filter") == read
    assert [path.name for path in folder.glob("*.rule")] == ["remove-filter.rule"]
    catalogue.load_builtin.cache_clear()
