"""Bench sequences: read from YAML, checked whole, run step by step, answered with a verdict."""

from wakerail.sequences.loader import load_sequence, load_sequences, parse_sequence
from wakerail.sequences.model import Sequence
from wakerail.sequences.plan import Plan, check_sequence, make_plan
from wakerail.sequences.runner import SequenceRun
from wakerail.sequences.verdict import exit_code_of

__all__ = [
    "Plan",
    "Sequence",
    "SequenceRun",
    "check_sequence",
    "exit_code_of",
    "load_sequence",
    "load_sequences",
    "make_plan",
    "parse_sequence",
]
