"""Published series: intervals recomputed from the counts, and the right ones picked for an eye."""

from __future__ import annotations

import re
from dataclasses import fields

import pytest
from scipy.stats import binomtest

from forestay.evidence import Row, default_evidence
from forestay.risk import bayes, series

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
    everything = series.Eye(**{f.name: True for f in fields(series.Eye)})
    for technique in series.TECHNIQUES:
        series.pick(use.row, technique=technique, eye=everything)
        series.ratios(use.row, technique=technique, eye=everything)
    series.after_capsule_rupture(use.row)
    ratios = [row for key, row in default_evidence().items() if key.startswith("series_ratio.")]
    assert {row.key for row in use.used} == {row.key for row in (*ROWS, *ratios)}


LISTED = {
    "capsule-rupture",
    "zonular-dialysis",
    "vitreous-loss",
    "dropped-nucleus",
    "corneal-decompensation",
    "macular-oedema",
    "detachment",
    "endophthalmitis",
    "choroidal-haemorrhage",
    "pressure-rise",
    "late-displacement",
}


@pytest.mark.parametrize("technique", ["manual-small-incision", "phacoemulsification"])
def test_every_complication_has_a_rate_with_its_population(technique: str) -> None:
    found = series.pick(default_evidence().__getitem__, technique=technique, eye=series.Eye())
    assert {rate.complication for rate in found} >= LISTED
    assert all(rate.population for rate in found)
    order = [series.COMPLICATIONS.index(rate.complication) for rate in found]
    assert order == sorted(order)


def test_infection_with_and_without_antibiotic_by_technique() -> None:
    # Haripriya 2017: phaco 0.072 to 0.012 %, manual 0.070 to 0.023 %; where no technique's own is known, both together
    for technique, without, with_it in (
        ("phacoemulsification", 0.00072, 0.00012),
        ("manual-small-incision", 0.0007, 0.00023),
        ("extracapsular", 0.000707, 0.000203),
    ):
        found = {r.name: r for r in series.pick(default_evidence().__getitem__, technique=technique, eye=series.Eye())}
        assert found["endophthalmitis_without_antibiotic"].value == pytest.approx(without)
        assert found["endophthalmitis_with_moxifloxacin"].value == pytest.approx(with_it)
        assert len([n for n in found if n == "endophthalmitis_without_antibiotic"]) == 1


def test_a_lens_removed_with_its_bag_cannot_be_displaced_late() -> None:
    eye = series.Eye(pseudoexfoliation=True)
    found = series.pick(default_evidence().__getitem__, technique="intracapsular", eye=eye)
    assert not [rate for rate in found if rate.complication == "late-displacement"]


def test_ratios_are_told_beside_and_change_no_rate() -> None:
    rows = default_evidence().__getitem__
    plain = {r.key: r.value for r in series.pick(rows, technique="manual-small-incision", eye=series.Eye())}
    signs = series.Eye(male=True, young=True, longish_eye=True)
    signed = {r.key: r.value for r in series.pick(rows, technique="manual-small-incision", eye=signs)}
    assert plain == signed
    # Petousis 2016: under 60 years 5.12, man 2.00, over 25 mm 3.98
    told = series.ratios(rows, technique="manual-small-incision", eye=signs)
    assert [r.value for r in told if r.complication == "detachment"] == [5.12, 2.0, 3.98]


def test_odds_ratios_of_pseudoexfoliation_and_pupil_from_counts() -> None:
    # T1 and T2 of the evidence: 18/99 v 7/126 is 3.78 (1.51 to 9.46), 7/78 v 16/1066 is 6.47 (2.58 to 16.2)
    for counts, printed in (
        ((18, 99, 7, 126), ("3.78", "1.51", "9.46")),
        ((7, 78, 16, 1066), ("6.47", "2.58", "16.2")),
    ):
        a, n, c, m = counts
        found = bayes.odds_ratio_interval(events_with=a, eyes_with=n, events_without=c, eyes_without=m, level=0.95)
        assert tuple(f"{value:.3g}" for value in found) == printed
