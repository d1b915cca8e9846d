"""Known-good boots found in a real journal."""

from __future__ import annotations

import pytest

from wakerail.analysis.known_good import compare, make_known_good
from wakerail.journal import JournalReader
from wakerail.recordings.references import boot_of_run, family_of, known_good_boots
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.outcome import Outcome

FAMILY = "fenmoor-t3"


async def test_a_family_is_the_one_that_was_named_or_else_that_usb_knew(watches):
    known, unknown = await watches.add(), await watches.add(family="")
    named = await watches.add(named="other")
    with JournalReader(watches.path) as reader:
        assert family_of(reader, named) == "other"
        assert family_of(reader, known) == FAMILY
        assert family_of(reader, unknown) is None


async def test_references_are_the_passed_runs_of_family_and_sequence_but_not_the_run_itself(watches):
    await watches.add()
    await watches.add(outcome=Outcome.FAILED)
    await watches.add(family="other")
    await watches.add(sequence="rail-check")
    await watches.add(onset=False)
    await watches.add(unplugged=["back-cover", "scanner"])
    itself = await watches.add()
    with JournalReader(watches.path) as reader:
        (boot,) = known_good_boots(reader, FAMILY, "boot-watch", itself)
        assert len(known_good_boots(reader, FAMILY, "boot-watch", but="")) == 2
    # from the onset, which is 2 s into the watch, to its end
    assert (boot.t_s[0], boot.t_s[-1]) == (pytest.approx(0, abs=1e-9), pytest.approx(27.95))
    assert boot.current_a[0] == pytest.approx(0.12, rel=0.1)


async def test_of_many_references_the_newest_are_taken_newest_first(watches):
    for number in range(10):
        await watches.add(later_a=0.1 * number)
    with JournalReader(watches.path) as reader:
        boots = known_good_boots(reader, FAMILY, "boot-watch", but="")
    levels_a = [boot.current_a[-200:].mean() for boot in boots]
    assert levels_a == pytest.approx([0.15 + 0.1 * number for number in range(9, 1, -1)], rel=0.02)


async def test_runs_out_of_the_journal_make_a_known_good_boot(watches):
    for _ in range(3):
        await watches.add()
    await watches.add(later_a=0.14)
    with JournalReader(watches.path) as reader:
        boots = known_good_boots(reader, FAMILY, "boot-watch", but=watches.runs[-1])
        told = compare(boot_of_run(reader, watches.runs[-1]), make_known_good(boots))
    assert told.like is False
    assert told.until_s == pytest.approx(10.0, abs=0.6)
    assert told.difference_a == pytest.approx(0.14, rel=0.1)


async def test_a_run_that_saw_no_boot_begin_is_no_reference_by_name(watches):
    run = await watches.add(onset=False)
    with JournalReader(watches.path) as reader, pytest.raises(ConfigInvalid, match="saw no boot begin"):
        boot_of_run(reader, run)
