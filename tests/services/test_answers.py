"""One object gives one answer, a list gives a list, and a bad item costs no other."""

from __future__ import annotations

import pytest

from forestay.errors import InvalidInput, NotFound, UnknownKey
from forestay.services.answers import answer

GOOD = {"stock_mg_per_ml": 50.0, "stock_ml": 1.0, "diluent_ml": 4.0, "given_ml": 0.1}


def test_one_object() -> None:
    one = answer("dilution", GOOD)
    assert isinstance(one, dict)
    assert one["result"]["dose_mg"] == pytest.approx(1.0)  # 50 / 5 x 0.1: arithmetic


def test_a_list_keeps_its_places() -> None:
    several = answer("dilution", [GOOD, {**GOOD, "typo": 1}, "text", GOOD])
    assert [set(item) == {"error"} for item in several] == [False, True, True, False]
    assert answer("dilution", []) == []


@pytest.mark.parametrize(("payload", "kind"), [("text", InvalidInput), (None, InvalidInput), ({"typo": 1}, UnknownKey)])
def test_one_bad_object_is_an_error(payload: object, kind: type[Exception]) -> None:
    with pytest.raises(kind):
        answer("dilution", payload)


def test_an_unknown_name_is_an_error() -> None:
    with pytest.raises(NotFound):
        answer("magic", {})
