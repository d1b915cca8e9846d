"""Hindsight: all that may have been a restart is judged by the whole of what was recorded until now.

What is seen live is one moment at a time. A look back (``look``) sees more: how often the opening came back, how well,
what the device does between, and what became of all the moments that looked alike. The boot known is found once more
(``first_boot``); each moment is described by numbers, alone (``evidence``: how well the opening comes back by level,
``openings``, and by shape, ``shapes``, and what the current did for an instant, ``instants``) and with the others
(``together``); decision trees say what the numbers mean for one another (``weighing``); and by that it is decided which
moments count (``deciding``). There is a look at the end, and before it whenever it is worth what it costs (``looks``).
"""
