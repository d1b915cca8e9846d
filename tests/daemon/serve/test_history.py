"""What earlier runs tell, out of a real journal, while the event loop goes on."""

from __future__ import annotations

import asyncio

import pytest

from wakerail.serve.history import JournalHistory
from wakerail_kit.errors import ConfigInvalid


async def while_the_loop_goes_on(question):
    """Return the answer, and how often the loop came round meanwhile."""
    asked, rounds = asyncio.ensure_future(question), 0
    while not asked.done():
        await asyncio.sleep(0)
        rounds += 1
    return asked.result(), rounds


async def test_the_loop_goes_on_while_the_journal_is_read(watches):
    for _ in range(3):
        await watches.add(job="T-114")
    await watches.add(job="T-114", restarts_s=(9.0, 18.0, 27.0))
    history = JournalHistory(str(watches.path))
    known, rounds = await while_the_loop_goes_on(history.known_good("fenmoor-t3", "boot-watch", watches.runs[0]))
    assert known.references == 2
    assert rounds > 1
    cadence, rounds = await while_the_loop_goes_on(history.cadence_before("T-114", "boot-watch"))
    assert cadence.median_s == pytest.approx(9.0)
    assert rounds > 1
    assert (await history.known_good("other", "boot-watch", "")).references == 0
    assert await history.cadence_before("T-115", "boot-watch") is None


async def test_no_journal_raises(tmp_path):
    with pytest.raises(ConfigInvalid, match="no journal yet"):
        await JournalHistory(str(tmp_path / "gone.sqlite")).cadence_before("T-114", "boot-watch")
