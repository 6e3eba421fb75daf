"""One test for many rows: thousands of small tests cost more to list and to report than to run."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable, Iterable

import pytest

TITLED = type(pytest.param())


def each(
    names: str | tuple[str, ...], rows: Iterable[object]
) -> Callable[..., Callable[..., None]]:
    """Return a decorator like pytest's parametrize, but the rows are one test. Each is tried, and
    all that fail are told together, each with its row.
    """
    words = names.split(",") if isinstance(names, str) else names
    keys = [word.strip() for word in words]
    kept = list(rows)
    assert kept, f"no rows of {names}: nothing would be tried"
    assert not any(row.marks for row in kept if isinstance(row, TITLED)), "marks are not seen here"

    def over_the_rows(test: Callable[..., None]) -> Callable[..., None]:
        @functools.wraps(test)
        def every_row(**fixtures: object) -> None:
            failures = []
            for row in kept:
                if isinstance(row, TITLED):
                    columns = row.values
                else:
                    columns = (row,) if len(keys) == 1 else row
                values = dict(zip(keys, columns, strict=True))
                try:
                    test(**values, **fixtures)
                except Exception as failure:
                    failure.add_note(f"in the row {getattr(row, 'id', None) or values}")
                    failures.append(failure)
            if failures:
                raise ExceptionGroup(f"{len(failures)} of {len(kept)} rows", failures)

        shape = inspect.signature(test)
        left = [value for name, value in shape.parameters.items() if name not in keys]
        every_row.__signature__ = shape.replace(parameters=left)
        return every_row

    return over_the_rows
