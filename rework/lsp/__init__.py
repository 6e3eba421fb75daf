"""The editor's server: what the commands know, while a file is typed.

Everything but ``server`` works on texts and values and knows no protocol.
"""
