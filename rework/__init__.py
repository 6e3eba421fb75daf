"""Rework a transformerless tube amplifier on paper before the iron is hot."""

__version__ = "0.1.0"
