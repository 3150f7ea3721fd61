"""Acuity in its notations and bands, loss, and coverage of a population's need, against published conversions."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forestay.calc.acuity import acuity, acuity_loss, surgical_coverage
from forestay.errors import InvalidInput
from forestay.statistics.coverage import quality_gap


@pytest.mark.parametrize(
    ("top", "below", "logmar", "letters"),
    [(6, 6, 0, 85), (6, 9, 0.1761, 76.20), (6, 12, 0.3010, 69.95), (6, 18, 0.4771, 61.14), (6, 24, 0.6021, 54.90),
     (6, 36, 0.7782, 46.09), (6, 60, 1, 35), (3, 60, 1.3010, 19.95), (1, 60, 1.7782, 0)],
)  # fmt: skip
def test_fractions_to_logmar_and_letters(top: float, below: float, logmar: float, letters: float) -> None:
    # Gregori and others, Retina 2010: letters = 85 + 50 log10 of the fraction; 1/60 would be -3.91, below the chart.
    found = acuity(numerator=top, denominator=below).result
    assert found.logmar == pytest.approx(logmar, abs=5e-5)
    assert found.letters == pytest.approx(letters, abs=5e-3)


@pytest.mark.parametrize(
    ("below", "decimal", "logmar", "score"),
    [(38, 0.16, 0.8, 60), (48, 0.125, 0.9, 55), (60, 0.1, 1.0, 50), (75, 0.08, 1.1, 45), (95, 0.063, 1.2, 40),
     (120, 0.05, 1.3, 35), (150, 0.04, 1.4, 30), (190, 0.032, 1.5, 25)],
)  # fmt: skip
def test_rows_of_the_table_of_the_standard(below: float, decimal: float, logmar: float, score: float) -> None:
    # DICOM PS3.17, annex RR.2: fractions are rounded to lines of 0.1 logMAR there, which is half a line at most.
    by_fraction = acuity(numerator=6, denominator=below).result
    assert by_fraction.logmar == pytest.approx(logmar, abs=0.05)
    by_logmar = acuity(logmar=logmar).result
    assert by_logmar.score == pytest.approx(score)
    assert by_logmar.decimal == pytest.approx(decimal, rel=0.015)
    assert acuity(score=score).result.logmar == pytest.approx(logmar)


def test_letters_and_score_are_not_the_same_scale() -> None:
    # Beck and others, Am J Ophthalmol 2003: logMAR = 1.7 - 0.02 letters.
    for letters in (0, 35, 70, 100):
        found = acuity(letters=letters).result
        assert found.logmar == pytest.approx(1.7 - 0.02 * letters)
        assert found.score == pytest.approx(letters + 15)
    with pytest.raises(InvalidInput) as refused:
        acuity(letters=104)
    assert refused.value.field == "letters"


@given(st.floats(-0.3, 1.69))
def test_there_and_back(logmar: float) -> None:
    found = acuity(logmar=logmar).result
    assert acuity(decimal=found.decimal).result.logmar == pytest.approx(logmar, abs=1e-9)
    assert acuity(letters=found.letters).result.logmar == pytest.approx(logmar, abs=1e-9)


@pytest.mark.parametrize(
    ("value", "older", "newer"),
    [((6, 18), "good", "borderline"), ((6, 12), "good", "good"), ((6, 24), "borderline", "borderline"),
     ((6, 60), "borderline", "borderline"), ((5, 60), "poor", "poor")],
)  # fmt: skip
def test_bands_and_their_edges(value: tuple[float, float], older: str, newer: str) -> None:
    # PLoS One 2017;12:e0172342 (good 6/18 or better, poor worse than 6/60); newer scheme good from 6/12.
    found = acuity(numerator=value[0], denominator=value[1]).result
    assert (found.older_band, found.newer_band) == (older, newer)


@pytest.mark.parametrize(("word", "number"), [("CF", 1.9), ("HM", 2.3), ("PL", 2.7), ("NPL", 3.0)])
def test_words_stay_words_and_their_number_is_marked(word: str, number: float) -> None:
    answer = acuity(category=word)
    assert answer.result.logmar is answer.result.decimal is answer.result.letters is None
    assert answer.result.imputed_logmar == number
    assert (answer.result.older_band, answer.result.newer_band) == ("poor", "poor")
    assert "imputed" in [d.code for d in answer.doubts]
    assert ("never measured" in str(answer.doubts)) is (word in ("PL", "NPL"))


@pytest.mark.parametrize(
    "given", [{}, {"decimal": 0.5, "logmar": 0.3}, {"numerator": 6}, {"category": "CF", "decimal": 0.1}]
)
def test_one_notation_and_no_more(given: dict[str, float]) -> None:
    with pytest.raises(InvalidInput):
        acuity(**given)


def test_a_doubling_of_the_angle_is_a_loss_and_a_hair_less_is_not() -> None:
    # Eye 2012;26:821: 0.30 logMAR or more; 0.6 - 0.3 falls short of 0.3 in floating point.
    assert acuity_loss(before_logmar=0.30, after_logmar=0.60).result.lost
    assert not acuity_loss(before_logmar=0.30, after_logmar=0.58).result.lost
    assert acuity_loss(before_logmar=1.0, after_logmar=0.2).result.lines == pytest.approx(-8)


def test_coverage_by_hand() -> None:
    given = {"one_operated": 120, "both_operated": 180, "unoperated": 200, "one_good": 80, "both_good": 150}
    answer = surgical_coverage(**given, operable_below="6/60", good_from="6/18")
    found = answer.result
    # 300 of 500 operated; 230 of 500 with a good result; 70 of 300 lost.
    assert (found.coverage, found.effective, found.quality_gap) == pytest.approx((0.6, 0.46, 70 / 300))
    assert "6/60" in str(answer.doubts)
    with pytest.raises(InvalidInput) as refused:
        surgical_coverage(**{**given, "one_good": 121}, operable_below="6/60", good_from="6/18")
    assert refused.value.field == "one_good"
    nobody = dict.fromkeys(given, 0)
    assert surgical_coverage(**nobody, operable_below="6/12", good_from="6/12").result.coverage is None


@pytest.mark.parametrize(("coverage", "effective", "gap"), [(65.7, 58.6, 10.8), (14.3, 3.8, 73.4), (57.3, 36.7, 36.0)])
def test_quality_gaps_of_three_published_surveys(coverage: float, effective: float, gap: float) -> None:
    # Ramke and others, PLoS One 2017;12:e0172342.
    assert 100 * quality_gap(coverage=coverage, effective=effective) == pytest.approx(gap, abs=0.05)
