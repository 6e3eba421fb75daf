"""What an amplifier is, in one definition each: the lowest room that knows more than parts.

``amplifier.of(circuit)`` gives the `Anatomy`, whose pieces are computed when asked for: ``wiring``
(nodes as points), ``line_sides``, ``metal``, ``earthed``, ``common``, ``b_minus``, ``rectifiers``,
``rails`` (B+ in its order), ``heaters`` and ``line_string``, ``units``, ``inputs``, ``loads``,
``stages`` (by channel and number), ``couplings``, ``feedbacks``, ``outputs``.
``amplifier.apart(circuit)`` is the same with every connector pulled. ``roles.part_roles(anatomy)``
says what each part does. ``links`` says how current gets through one part.

A point is a set of nodes that conductors (and mated contacts) hold together, named by the first of
them in sorted order; every answer is in points and in names of parts.
"""
