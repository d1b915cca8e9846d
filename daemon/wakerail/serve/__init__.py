"""The daemon: one bench served, from configuration to a safe end."""

from wakerail.serve.worker import serve

__all__ = ["serve"]
