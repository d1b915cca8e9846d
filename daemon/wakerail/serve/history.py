"""What earlier runs tell, read out of the journal in threads, so that the event loop never waits for it."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from wakerail.journal import JournalReader

if TYPE_CHECKING:  # what reads recordings is not needed to be ready
    from wakerail.analysis.cadence import Cadence
    from wakerail.analysis.known_good import KnownGood


class JournalHistory:
    """Fulfils History; each question opens the journal anew. Raises what JournalReader does.

    In a journal that benches share, the runs of all of them count: a device may go from one to another.
    """

    def __init__(self, url: str) -> None:
        self._url = url

    async def cadence_before(self, job: str, sequence: str) -> Cadence | None:
        return await asyncio.to_thread(self._cadence_before, job, sequence)

    async def known_good(self, family: str, sequence: str, but: str) -> KnownGood:
        return await asyncio.to_thread(self._known_good, family, sequence, but)

    def _cadence_before(self, job: str, sequence: str) -> Cadence | None:
        from wakerail.recordings.cadences import cadence_before  # noqa: PLC0415

        with JournalReader(self._url) as reader:
            return cadence_before(reader, job, sequence)

    def _known_good(self, family: str, sequence: str, but: str) -> KnownGood:
        from wakerail.analysis.known_good import make_known_good  # noqa: PLC0415
        from wakerail.recordings.references import known_good_boots  # noqa: PLC0415

        with JournalReader(self._url) as reader:
            boots = known_good_boots(reader, family, sequence, but)
        return make_known_good(boots)
