"""Tubes: basing, heaters, ratings and rows of the manuals, each figure with its source; and what
may replace what.
"""
