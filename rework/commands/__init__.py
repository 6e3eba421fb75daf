"""One module a command: reads files, calls one function of a room below, prints.

Imported only when its command runs.
"""
