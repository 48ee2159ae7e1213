"""Progress: the figures of single runs, how they change from run to run, and their tables, plots and pages.

``figures`` (one run) -> ``course`` (many runs, in order) -> ``text``, ``table``, ``plots``, ``page``.
"""
