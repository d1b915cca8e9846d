"""``python -m wakerail``."""

from wakerail.cli import main

main()
