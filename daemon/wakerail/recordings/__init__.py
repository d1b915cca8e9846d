"""Recordings, read piece by piece: tables of text and Parquet, USB logs, and runs out of the journal."""
