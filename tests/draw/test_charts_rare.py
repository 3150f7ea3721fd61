"""Charts of rare events and incisions: every value stands where its axis says, in every number of events."""

from __future__ import annotations

import re
from math import log10

import pytest

from forestay.draw.charts import BOTTOM, HEIGHT, TOP, draw_funnel
from forestay.draw.charts_rare import SHOWN_GAPS, draw_gaps, draw_incisions
from forestay.draw.palette import LIGHT
from forestay.review.complications import Limits, Point, Spacing
from forestay.review.incision import OwnIncision


def spacing(*gaps: int, since: int = 12) -> Spacing:
    return Spacing("rupture", 0.0195, gaps, since, 0, 35, 335)


def heights(drawn: str, shape: str, key: str) -> list[float]:
    return [float(re.search(rf'{key}="([-0-9.]+)"', found)[1]) for found in re.findall(rf"<{shape} [^>]*>", drawn)]  # type: ignore[index]


def test_gaps_stand_by_powers_of_ten_and_what_still_runs_is_a_square() -> None:
    drawn = draw_gaps(spacing(0, 9, 99, since=9), palette=LIGHT, sentence="says")
    nought, nine, ninety_nine = heights(drawn, "circle", "cy")
    assert nought == HEIGHT - BOTTOM
    assert nought - nine == pytest.approx(nine - ninety_nine, abs=0.02)  # 1 + gap: tenfold each
    top = log10(1 + 335 * 1.5)  # the axis ends half as high again as the longest gap that chance leaves
    assert nought - nine == pytest.approx((HEIGHT - BOTTOM - TOP) / top, abs=0.02)
    (square,) = heights(drawn, "rect", "y")
    assert square + 5 == pytest.approx(nine, abs=0.02)
    assert "says" in drawn


@pytest.mark.parametrize("events", [0, 1, 2, SHOWN_GAPS, SHOWN_GAPS + 20])
def test_any_number_of_ruptures_is_drawn_and_only_the_last_of_many(events: int) -> None:
    drawn = draw_gaps(spacing(*range(events)), palette=LIGHT, sentence="says")
    assert drawn.count("<circle") == min(events, SHOWN_GAPS)
    assert drawn.count("<rect") == 1


def test_each_incision_has_its_centre_its_spread_and_what_is_planned() -> None:
    own = [
        OwnIncision("superior frown", 40, 1.0, 0.5, 0.0, 0.4, 1.3, 1.0, 0.7, 1.0),
        OwnIncision("temporal straight", 30, 0.4, 0.25, -0.1, 0.2, 0.6, 0.3, 0.6, 0.3),
    ]
    drawn = draw_incisions(own, palette=LIGHT, sentence="says")
    wide, narrow = heights(drawn, "ellipse", "rx")
    assert wide == pytest.approx(2 * narrow, abs=0.02)
    high, low = heights(drawn, "ellipse", "ry")
    assert high == pytest.approx(2 * low, abs=0.02)
    centre, _ = heights(drawn, "circle", "cx")
    planned, _ = heights(drawn, "rect", "x")
    assert planned + 5 == pytest.approx(centre, abs=0.02)


def test_published_rates_lie_across_the_funnel_numbered_and_inside_the_picture() -> None:
    point = Point("s1", 200, 2, 0.01, (0.0, 0.04), (0.0, 0.05), small=False, interval=(0.0, 0.04), outside=False)
    lines = [Limits(n, (0.0, 0.04), (0.0, 0.05)) for n in (100, 300)]
    plain = draw_funnel([point], lines, palette=LIGHT, sentence="says")
    drawn = draw_funnel([point], lines, palette=LIGHT, sentence="says", published=(0.0195, 0.2))
    assert drawn.count("10 3 2 3") == 2
    assert plain.count("10 3 2 3") == 0
    numbers = re.findall(r"<text ([^>]*)>([12])</text>", drawn)
    assert [words for _, words in numbers] == ["1", "2"]
    assert all(TOP - 5 <= float(re.search(r'\by="([-0-9.]+)"', at)[1]) <= HEIGHT for at, _ in numbers)  # type: ignore[index]
