"""The verbs of a sequence, one module each."""
