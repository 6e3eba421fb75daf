"""Between which points the heater of a tube is a resistance, by the pins that are wired."""

from __future__ import annotations

from collections.abc import Iterator

from rework.tubes.elements import HEATER
from rework.tubes.tubetype import TubeType


def heater_ends(tube: TubeType) -> tuple[str, ...]:
    """Return the pins of the two ends of a heater."""
    return tuple(pin for pin, names in tube.elements if set(HEATER) & set(names))


def _pin(tube: TubeType, at: dict[str, str], name: str) -> tuple[str, str] | None:
    """Return the first wired pin of a heater element with its point."""
    return next(
        ((pin, at[pin]) for pin, names in tube.elements if name in names and pin in at), None
    )


def sections(tube: TubeType, at: dict[str, str]) -> Iterator[tuple[str, str, float, float]]:
    """Yield the sections of a heater as (point, point, ohms, rated volts): halves about a centre
    tap, the two sides of a lamp tap whose volts are printed, else the whole.
    """
    volts, amps = tube.heater.volts.value, tube.heater.amps.value
    first, second = _pin(tube, at, HEATER[0]), _pin(tube, at, HEATER[1])
    middle = _pin(tube, at, "heater-tap")
    lamp = _pin(tube, at, "lamp-tap")
    if middle is not None:
        full = max(feed.volts.value for feed in tube.heater.ways)
        least = min(feed.amps.value for feed in tube.heater.ways)
        for end in (first, second):
            if end is not None:
                yield end[1], middle[1], full / least / 2, full / 2
        return
    if first is None or second is None:
        return
    tapped = next((s for s in tube.heater.sections if lamp and lamp[0] in s.between), None)
    if lamp is not None and tapped is not None:
        near = first if first[0] in tapped.between else second
        far = second if near is first else first
        share = tapped.volts.value
        yield near[1], lamp[1], share / amps, share
        yield lamp[1], far[1], (volts - share) / amps, volts - share
        return
    yield first[1], second[1], volts / amps, volts


def judged(tube: TubeType, at: dict[str, str]) -> Iterator[tuple[str, str, float, float]]:
    """Yield the sections by which a heater is judged: halves about a centre tap each, else the
    whole; what a lamp on its tap takes off one side is meant.
    """
    if _pin(tube, at, "heater-tap") is not None:
        yield from sections(tube, at)
        return
    first, second = _pin(tube, at, HEATER[0]), _pin(tube, at, HEATER[1])
    if first is not None and second is not None:
        yield first[1], second[1], 0.0, tube.heater.volts.value
