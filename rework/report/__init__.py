"""What a result looks like before anyone renders it: tables as values, amounts with their units, problems with
their place; and how a terminal shows them.

``table`` is the one table of terminal, paper and page; ``figures`` writes an SI amount; ``terminal`` and
``problems`` turn these into lines of text and JSON. The room knows ``Problem`` and no result.
"""
