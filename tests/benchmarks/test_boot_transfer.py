"""How recordings of the other corpora are scored."""

from boot_transfer import read


def test_a_loop_that_falls_to_nothing_is_found_whole():
    score = read(("lifelike", 1011, "loop-same-stage"))
    assert score is not None
    assert score.case.fault == "loop-same-stage"
    assert len(score.pairs) > 3
    assert not score.missed


def test_a_recording_in_which_nothing_restarts_is_a_healthy_one():
    score = read(("held_out", 0, "never-boots"))
    assert score is not None
    assert score.case.fault is None
    assert not score.pairs


def test_what_is_too_slow_is_left_out():
    scores = [read(("lifelike", seed, "boot-idle")) for seed in range(12)]
    assert any(score is None for score in scores)
    assert all(score.case.rate_hz >= 20.0 for score in scores if score is not None)
