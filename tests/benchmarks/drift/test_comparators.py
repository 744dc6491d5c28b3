"""The comparators do what the books say."""

import numpy as np
import pytest

from tests.benchmarks.drift.comparators import change_points, ewma, tabular_cusum

# NIST/SEMATECH e-Handbook 6.3.2.3 (two public test suites agree; the page itself not read)
NIST_CUSUM = np.array([
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
    324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
])  # fmt: skip
NIST_HIGH = [0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04]
NIST_LOW = [0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0]

# Montgomery & Runger, Applied Statistics and Probability for Engineers, ch. 16 (page text read)
IN_CONTROL = np.array([
    102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1, 101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4,
    97.2, 101.0,
])  # fmt: skip
IN_CONTROL_HIGH = [2.0, 0, 0, 0, 2.0, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0]
IN_CONTROL_LOW = [0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0]

# Montgomery, Introduction to Statistical Quality Control, Example 9.1 (data in five public test suites that agree; the
# book not read). Altered copies circulate, so the whole vector is held by its size and sum.
SHIFTED = np.array([
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08, 9.37, 10.62,
    10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
])  # fmt: skip
SHIFTED_HIGH = [
    0, 0, 0, 1.16, 2.82, 2.50, 0.04, 1.00, 0, 0, 0, 0.97, 0.98, 0, 0, 0, 0.12, 0, 0, 0.34, 0.74, 0, 1.79, 2.79, 2.89,
    3.47, 3.35, 4.47, 5.28, 5.30,
]  # fmt: skip

# NIST/SEMATECH e-Handbook 6.3.2.4 (five public test suites agree)
NIST_EWMA = np.array([
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6,
    52.1,
])  # fmt: skip
NIST_AVERAGES = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92,
    50.73, 51.23, 51.94, 51.99,
]  # fmt: skip

# The Nile at Aswan, 1871 to 1970 (data in statsmodels; R's help: "apparent changepoint near 1898")
NILE = np.array([
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958, 1140,
    1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969,
    831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759,
    781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890,
    744, 749, 838, 1050, 918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
], dtype=np.float64)  # fmt: skip


def test_the_cusum_is_that_of_the_nist_table() -> None:
    high, low = tabular_cusum(NIST_CUSUM, 325.0, 0.3175)
    assert high == pytest.approx(NIST_HIGH, abs=0.0051)  # the page rounds ties both ways
    assert low == pytest.approx(NIST_LOW, abs=0.0051)
    assert 1 + int(np.argmax(high > 4.1959)) == 14


def test_the_cusum_in_control_never_signals() -> None:
    high, low = tabular_cusum(IN_CONTROL, 99.0, 1.0)
    assert high == pytest.approx(IN_CONTROL_HIGH, abs=1e-9)
    assert low == pytest.approx(IN_CONTROL_LOW, abs=1e-9)
    assert max(high.max(), low.max()) < 10.0


def test_the_cusum_of_a_small_shift_signals_when_the_table_does() -> None:
    assert (SHIFTED.size, SHIFTED.sum()) == (30, pytest.approx(309.45))
    high, low = tabular_cusum(SHIFTED, 10.0, 0.5)
    assert high == pytest.approx(SHIFTED_HIGH, abs=0.0051)
    assert low[:3] == pytest.approx([0.05, 1.56, 1.77], abs=0.0051)
    assert (1 + int(np.argmax(high > 5.0)), low.max() < 5.0) == (29, True)


def test_the_ewma_of_the_same_shift_signals_as_recomputed() -> None:
    averages = ewma(SHIFTED, 10.0, 0.1)
    assert averages[:2] == pytest.approx([9.945, 9.7495], abs=1e-9)  # recomputed; the printed table is from memory
    rounds = np.arange(1, 31)
    limits = 2.7 * np.sqrt(0.1 / 1.9 * (1.0 - 0.9 ** (2 * rounds)))
    assert limits[[0, -1]] == pytest.approx([0.27, 0.6194], abs=0.001)
    assert (1 + np.flatnonzero(np.abs(averages - 10.0) > limits)).tolist() == [29, 30]


def test_the_ewma_is_that_of_the_nist_table() -> None:
    assert ewma(NIST_EWMA, 50.0, 0.3) == pytest.approx(NIST_AVERAGES, abs=0.0051)


def test_the_nile_changes_once_after_1898() -> None:
    assert (NILE.size, NILE.sum(), NILE[:5].tolist()) == (100, 91935.0, [1120, 1160, 963, 1210, 1160])
    # single break after 28 values, i.e. after 1898, as by R's strucchange and bcp; penalty: three variances times log n
    assert change_points(NILE, 3.0 * float(NILE.var()) * np.log(100)) == [28]
    assert [NILE[:28].mean(), NILE[28:].mean()] == pytest.approx([1097.75, 849.9722], abs=5e-5)
