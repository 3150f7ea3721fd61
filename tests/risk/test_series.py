"""Published series: intervals recomputed from the counts, and the right ones picked for an eye."""

from __future__ import annotations

import re

import pytest
from scipy.stats import binomtest

from forestay.evidence import Row, default_evidence
from forestay.risk import series

ROWS = [row for key, row in default_evidence().items() if key.startswith("series.")]
COUNTED = [row for row in ROWS if row.interval and "Wilson" in row.interval]


@pytest.mark.parametrize("row", COUNTED, ids=lambda row: row.key)
def test_intervals_from_counts_agree_with_the_reference(row: Row) -> None:
    events, n = map(int, re.search(r"(\d+)/(\d+)", row.interval or "").groups())  # type: ignore[union-attr]
    reference = binomtest(events, n).proportion_ci(0.95, method="wilson")
    assert row.low == pytest.approx(reference.low, rel=0.005)
    assert row.high == pytest.approx(reference.high, rel=0.005)
    assert row.value == pytest.approx(events / n, rel=0.03)


def test_dialysis_by_hand_in_pseudoexfoliation() -> None:
    # 16 of 193 pooled: 8.29 % (5.17 to 13.04), worked in the evidence
    found = series.rate(default_evidence()["series.manual.dialysis_pseudoexfoliation"])
    assert found.value == pytest.approx(0.0829, abs=0.00005)
    assert (found.low, found.high) == pytest.approx((0.0517, 0.1304), abs=0.0005)


def test_infection_after_rupture() -> None:
    # 20 of 4186 and 9 of 4293: 0.478 and 0.210 % (Haripriya 2017)
    values = {rate.name: rate.value for rate in series.after_capsule_rupture(default_evidence().__getitem__)}
    assert values["endophthalmitis_after_rupture"] == pytest.approx(0.00478, abs=0.000005)
    assert values["endophthalmitis_after_rupture_with_moxifloxacin"] == pytest.approx(0.0021, abs=0.000005)


def test_every_rate_lies_within_its_interval_and_says_where_it_has_none() -> None:
    for row in ROWS:
        found = series.rate(row)
        assert 0 < found.low <= found.value <= found.high < 1
        assert (found.interval is None) == (found.low == found.high)


def test_a_techniques_trainee_rate_stays_with_the_technique() -> None:
    eye = series.Eye(trainee=True)
    rows = default_evidence().__getitem__
    manual = {rate.key for rate in series.pick(rows, technique="manual-small-incision", eye=eye)}
    phaco = {rate.key for rate in series.pick(rows, technique="phacoemulsification", eye=eye)}
    assert "series.manual.trainee" in manual - phaco
    assert "series.phaco.trainee" in phaco - manual
    assert not any("trainee" in rate.key for rate in series.pick(rows, technique="extracapsular", eye=eye))


@pytest.mark.parametrize("finding", ["pseudoexfoliation", "white", "brown", "diabetes", "long_eye"])
def test_a_finding_adds_its_series_and_unknown_adds_none(finding: str) -> None:
    rows = default_evidence().__getitem__
    plain = series.pick(rows, technique="manual-small-incision", eye=series.Eye())
    found = series.pick(rows, technique="manual-small-incision", eye=series.Eye(**{finding: True}))
    assert len(found) > len(plain)
    assert set(plain) < set(found)


def test_every_series_can_be_picked() -> None:
    use = default_evidence().reader()
    everything = series.Eye(True, True, True, True, True, True, True)
    for technique in series.BY_TECHNIQUE:
        series.pick(use.row, technique=technique, eye=everything)
    series.after_capsule_rupture(use.row)
    assert {row.key for row in use.used} == {row.key for row in ROWS}
