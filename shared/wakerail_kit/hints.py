"""What to tell a person who wrote a word that is not known."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def nearest(wrong: str, known: Iterable[str], lead: str = "known here: ") -> str:
    """Return a hint: the known word that was meant, or after ``lead`` all known words in their order."""
    words = list(known)
    close = difflib.get_close_matches(wrong, words, n=1)
    return f"did you mean {close[0]!r}?" if close else lead + (", ".join(words) or "none")
