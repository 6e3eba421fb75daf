"""What is tied to the mains, by which way and in which state, and what a finished conversion still
wants.

``net`` joins the parts (how current gets through one is ``anatomy.links``), ``ties`` searches from
the plug, ``ways`` tells how a hand would trace a tie, ``states`` when a node is hot, ``primary``
what may be on the mains. ``survey`` holds one circuit's facts for the families of checks
(``exposure``, ``shafts``, ``earthing``, ``umbilical``, ``line_order``, ``protection``,
``capacitors`` with ``discharge``, ``insulation``, ``heater_volts``, ``heater_reference``,
``ratings``). ``cutset`` finds the fewest pins to cut, ``remedies`` makes candidates of them,
``trial`` makes the edits and checks again against what works (``function``). ``check`` lists the
families and gives the verdict, ``findings`` is the report. Unknown is tied.
"""
