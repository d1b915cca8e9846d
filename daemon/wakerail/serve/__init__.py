"""The daemon: a supervisor that outlives what it watches, and the worker that serves the bench."""
