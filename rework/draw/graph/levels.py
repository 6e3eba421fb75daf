"""How far each block is from a source, so that lines run from left to right."""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterable, Mapping


def steps(
    joints: Iterable[tuple[str, str]],
    sources: Iterable[str],
    detours: Iterable[tuple[str, str]] = (),
) -> dict[str, int]:
    """Return how many lines lie between each vertex and the nearest source, so that lines run from
    left to right.

    ``detours`` are joints that do not say which way the signal and the supply go: they count where
    there is no other way.
    """
    straight, every = _Near(joints), _Near(detours)
    for key_from, others in straight.items():
        every[key_from] += others
    distance = dict.fromkeys((key for key in sources if key in every), 0)
    _spread(distance, straight, list(distance))
    _spread(distance, every, list(distance))
    for start in every:
        if start not in distance:
            distance[start] = 0
            _spread(distance, every, [start])
    return distance


class _Near(defaultdict[str, list[str]]):
    """The neighbours of each vertex."""

    def __init__(self, joints: Iterable[tuple[str, str]]) -> None:
        super().__init__(list)
        for first, second in joints:
            self[first].append(second)
            self[second].append(first)


def _spread(level: dict[str, int], near: Mapping[str, list[str]], line: Iterable[str]) -> None:
    """Give every vertex that is reached from a line of them, and has none, its steps."""
    queue = deque(line)
    while queue:
        key = queue.popleft()
        for other in near.get(key, ()):
            if other not in level:
                level[other] = level[key] + 1
                queue.append(other)
