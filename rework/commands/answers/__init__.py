"""What ``--json`` prints, as dataclasses: a module a family of commands.

``shape.SHAPES`` names for each command the module and the types that its answer may have; the JSON
Schemas in ``tests/golden/schemas`` are made from them. Amounts are in SI units; what is not known
is null, and so is what is infinite.
"""
