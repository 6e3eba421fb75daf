"""What a result looks like before anyone renders it, and how a terminal shows it.

``table`` is the one table of terminal, paper and page; ``figures`` writes an SI amount;
``terminal`` and ``problems`` turn these into lines of text. The room knows no result.
"""
