"""The rate of eyes with a sign: against Bayes on whole tables of eyes, and at the ends."""

from __future__ import annotations

import pytest

from forestay.evidence import default_evidence
from forestay.risk import series
from forestay.risk.raised import raised, with_sign


@pytest.mark.parametrize(
    ("hit_with", "miss_with", "hit_without", "miss_without"), [(18, 81, 7, 119), (30, 70, 100, 800), (2, 98, 40, 860)]
)
def test_both_ratios_bring_back_the_table_that_they_came_from(
    hit_with: int, miss_with: int, hit_without: int, miss_without: int
) -> None:
    with_it, without = hit_with + miss_with, hit_without + miss_without
    rate, share = (hit_with + hit_without) / (with_it + without), with_it / (with_it + without)
    odds = (hit_with * miss_without) / (miss_with * hit_without)
    rates = (hit_with / with_it) / (hit_without / without)
    assert with_sign(rate, ratio=odds, share=share, of_odds=True) == pytest.approx(hit_with / with_it)
    assert with_sign(rate, ratio=rates, share=share, of_odds=False) == pytest.approx(hit_with / with_it)


@pytest.mark.parametrize("of_odds", [True, False])
def test_ends(of_odds: bool) -> None:
    assert with_sign(0.2, ratio=1.0, share=0.3, of_odds=of_odds) == pytest.approx(0.2)
    assert with_sign(0.2, ratio=7.0, share=1.0, of_odds=of_odds) == pytest.approx(0.2)  # all eyes had it
    assert with_sign(0.9, ratio=50.0, share=0.0, of_odds=of_odds) <= 1.0
    assert with_sign(0.01, ratio=0.2, share=0.4, of_odds=of_odds) < 0.01


def test_the_interval_holds_both_and_says_where_one_is_missing() -> None:
    rows = default_evidence()
    base = series.rate(rows["series.haemorrhage_audit"])
    found = raised(base, series.rate(rows["series_ratio.haemorrhage_pressure"]), share=0.03, of_odds=True)
    assert found.whole
    assert found.low < found.value < found.high
    # wider than either interval alone: 2.5 to 5.5 about 3.7
    assert found.value / found.low > 3.7 / 2.5 * 0.95
    assert found.high / found.value > 5.5 / 3.7 * 0.95
    half = raised(base, series.rate(rows["series_ratio.haemorrhage_glaucoma"]), share=0.08, of_odds=True)
    assert not half.whole


def test_every_ratio_with_a_base_has_its_share_and_its_rate() -> None:
    rows = default_evidence()
    based = [e for e in series.RATIOS if e.base]
    assert {f"series_share.{e.key}" for e in based} == {key for key in rows if key.startswith("series_share.")}
    rates = {e.key: e for e in series.RATES}
    assert all(rates[e.base].complication == e.complication and not rates[e.base].finding for e in based)
