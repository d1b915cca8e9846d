"""The CUSUM against worked examples and tables of run lengths that others published."""

import math

import numpy as np
import pytest

from wakerail.analysis.cusum import Side, cusum

# fmt: off
HANDBOOK = [324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
            324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350]
MONTGOMERY = [9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08,
              9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52]
# fmt: on


def test_the_handbooks_example():
    """NIST/SEMATECH e-Handbook 6.3.2.3: target 325, sigma 0.635, k 0.3175 (half a sigma), h 4.1959."""
    run = cusum(HANDBOOK, 325.0, 0.635, k=0.5, h=4.1959 / 0.635)
    assert run.upper[:12] == pytest.approx([0, 0, 0, 0, 0.0325, 0, 0, 0, 0, 0, 0, 0], abs=1e-9)
    assert run.upper[12:] == pytest.approx([3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035])
    assert (int(run.lower.argmax()), float(run.lower.max())) == (7, pytest.approx(0.715))
    assert run.alarm is not None
    assert (run.alarm.index, run.alarm.side) == (13, Side.HIGHER)  # group 14


def test_montgomerys_example():
    """D. C. Montgomery, Introduction to Statistical Quality Control: target 10, sigma 1, K 0.5, H 5."""
    run = cusum(MONTGOMERY, 10.0, 1.0, k=0.5, h=5.0)
    assert run.alarm is not None
    assert (run.alarm.index, run.alarm.side, run.alarm.run_length) == (28, Side.HIGHER, 7)  # period 29
    assert run.alarm.index - run.alarm.run_length == 21  # period 22, the last in control
    assert run.upper[28:] == pytest.approx([5.28, 5.30])
    assert run.alarm.mean == pytest.approx(11.25, abs=0.005)


@pytest.mark.parametrize(
    ("shift", "published"), [(0.5, 38.0), (0.75, 17.0), (1.0, 10.4), (1.5, 5.75), (2.0, 4.01), (3.0, 2.57), (4.0, 2.01)]
)
def test_the_average_run_length(shift, published):
    """k 0.5, h 5, two-sided: J. M. Lucas and R. B. Crosier, Technometrics 24, 1982, 199-205; by seeded simulation."""
    values = np.random.default_rng(round(100 * shift)).normal(shift, 1.0, (1500, 400))
    alarms = [cusum(row, 0.0, k=0.5, h=5.0).alarm for row in values]
    lengths = np.array([alarm.index + 1 for alarm in alarms if alarm is not None])
    assert len(lengths) == len(values)
    assert lengths.mean() == pytest.approx(published, abs=4 * lengths.std() / math.sqrt(len(lengths)) + 0.05)
