"""Charts of measured values against handbook examples."""

from __future__ import annotations

import numpy as np
import pytest

from forestay.statistics import measured

MONTGOMERY = [9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08, 9.37,
              10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52]  # fmt: skip
"""The sum and weighted-mean example of Montgomery's text book, as printed in public chart documentation."""

NIST = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4,
        53.6, 52.1]  # fmt: skip
"""NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.4 (data from memory)."""


def test_the_tabular_sum_of_the_text_book() -> None:
    found = measured.tabular_sum(MONTGOMERY, centre=10, allowance=0.5, limit=5)
    assert found.below[1:3].tolist() == pytest.approx([1.56, 1.77])
    assert found.above[27:30].tolist() == pytest.approx([4.47, 5.28, 5.30])
    assert found.signals.tolist() == [28]  # the 29th value


def test_the_weighted_mean_of_the_text_book() -> None:
    found = measured.weighted_mean(MONTGOMERY, centre=10, sd=1, weight=0.1, width=2.7)
    assert found.mean[[0, 1, 27, 28]].tolist() == pytest.approx([9.945, 9.7495, 10.573137, 10.646823], abs=1e-6)
    assert (found.low[0], found.high[0]) == pytest.approx((9.73, 10.27))
    assert (found.low[28], found.high[28]) == pytest.approx((9.38127, 10.61873), abs=1e-5)
    assert np.flatnonzero((found.mean < found.low) | (found.mean > found.high)).tolist() == [28, 29]


def test_the_weighted_mean_of_the_handbook() -> None:
    found = measured.weighted_mean(NIST, centre=50, sd=2.0539, weight=0.3, width=3)
    printed = [50.6, 49.52, 50.564, 50.1848, 50.1594, 49.2116, 49.7481, 49.8537, 50.2576, 50.3303, 50.1112, 49.3578,
               49.5205, 50.0543, 49.378, 49.9246, 50.7272, 51.2291, 51.9403, 51.9882]  # fmt: skip
    assert found.mean.tolist() == pytest.approx(printed, abs=1e-3)
    assert (found.low[-1], found.high[-1]) == pytest.approx((47.4116, 52.5884), abs=2e-3)
    assert not np.any((found.mean < found.low) | (found.mean > found.high))


def test_a_chart_mirrored_about_its_centre_swaps_the_sums() -> None:
    here = measured.tabular_sum(MONTGOMERY, centre=10, allowance=0.5, limit=5)
    there = measured.tabular_sum(20 - np.array(MONTGOMERY), centre=10, allowance=0.5, limit=5)
    assert here.above.tolist() == pytest.approx(there.below.tolist(), abs=1e-9)
