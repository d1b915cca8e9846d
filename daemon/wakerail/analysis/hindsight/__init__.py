"""Hindsight: once a watch is over, all that may have been a restart is judged anew, by the whole of the recording.

A boot that is told live is told by what was seen until then. In the end more is known: how often the opening came
back, how well, what the device does between, and what became of all the moments that looked alike. The boot known is
found once more (``first_boot``); each moment is described by numbers, alone (``evidence``: how well the opening comes
back by level, ``openings``, and by shape, ``shapes``, and what the current did for an instant, ``instants``) and with
the others (``together``); decision trees say what the numbers mean for one another (``weighing``); and what comes out
is told as restarts found late and as revisions.
"""
