"""The circuit as an immutable value, its graph views and the few primitive edits.

Imports no other room.
"""
