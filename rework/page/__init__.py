"""The page that follows a job: what it shows, kept in pieces; who watches the files; who serves it,
to this machine alone.

``pieces`` and ``figures`` turn a job run and its numbers into plain values, ``hot`` the ties in
every state, ``scene`` a drawing; ``numbers`` works the long sums out in a process of its own;
``board`` keeps the pieces and tells of those that changed; ``follow`` runs the job again at every
save; ``server`` answers the browser. What the browser does with the pieces is in ``static/``.
"""
