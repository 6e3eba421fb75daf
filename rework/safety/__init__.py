"""What is tied to the mains, by which way and in which state, and what a finished conversion still
wants.

``links`` says how current gets through one part, ``net`` joins the parts, ``ties`` searches from
the plug, ``states`` tells when a node is hot, ``survey`` holds one circuit's facts for the families
of checks (``exposure``, ``shafts``, ``earthing``, ``insulation``, ``heaters``, ``ratings``),
``check`` lists them and gives the verdict, ``findings`` is the report. Unknown is tied.
"""
