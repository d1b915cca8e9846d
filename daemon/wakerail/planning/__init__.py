"""The isolation planned: from a family's causes and actions and what was seen, the next action and why.

Pure: numbers in, advice out; no clock, no I/O, no asyncio.
"""
