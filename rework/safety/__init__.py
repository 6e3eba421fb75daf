"""What is tied to the mains, by which way and in which state, and what a finished conversion still
wants.

``net`` joins the parts (how current gets through one is ``anatomy.links``), ``ties`` searches from
the plug, ``states`` tells when a node is hot, ``survey`` holds one circuit's facts for the families
of checks (``exposure``, ``shafts``, ``earthing``, ``insulation``, ``heaters``, ``ratings``),
``check`` lists them and gives the verdict, ``findings`` is the report. Unknown is tied.
"""
