"""The answer of ``trouble``."""

from __future__ import annotations

from rework.faultfinding.told import Told

__all__ = ["Told"]
