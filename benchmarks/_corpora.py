"""The corpora of made-up recordings beside the main one, ``wakerail_sim.corpus``: who makes one of a scene."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from wakerail_sim.assembled import KINDS as ASSEMBLED_KINDS
from wakerail_sim.assembled import Assembled, make_assembled
from wakerail_sim.held_out import KINDS, HeldOut, make_held_out
from wakerail_sim.lifelike import SCENES, Lifelike, make_lifelike
from wakerail_sim.motley import KINDS as MOTLEY_KINDS
from wakerail_sim.motley import Motley, make_motley
from wakerail_sim.plain import KINDS as PLAIN_KINDS
from wakerail_sim.plain import Plain, make_plain

Made = Lifelike | Motley | Plain | Assembled | HeldOut


@dataclass(frozen=True, slots=True)
class Corpus:
    """``make`` makes the recording of a seed in which one of the ``scenes`` happens."""

    make: Callable[[int, str], Made]
    scenes: tuple[str, ...]


LIFELIKE = Corpus(make_lifelike, SCENES)
MOTLEY = Corpus(make_motley, MOTLEY_KINDS)
PLAIN = Corpus(make_plain, PLAIN_KINDS)
ASSEMBLED = Corpus(make_assembled, ASSEMBLED_KINDS)
HELD_OUT = Corpus(make_held_out, KINDS)
CORPORA = {"lifelike": LIFELIKE, "motley": MOTLEY, "plain": PLAIN, "assembled": ASSEMBLED, "held_out": HELD_OUT}
