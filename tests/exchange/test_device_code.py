"""Codes on boxes. Check digits and element strings: GS1 General Specifications, published worked strings."""

from __future__ import annotations

from contextlib import suppress
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forestay.errors import InvalidInput
from forestay.exchange.device_code import SEPARATOR, DeviceCode, read_code

WORKED = DeviceCode("51022222233336", "1234", "A213B1", date(2015, 7, 7))
ELEMENTS = f"0151022222233336111412311715070710A213B1{SEPARATOR}211234"


@pytest.mark.parametrize(
    "text", ["(01)51022222233336(11)141231(17)150707(10)A213B1(21)1234", ELEMENTS, f"]d2{ELEMENTS}", f" {ELEMENTS}\n"]
)
def test_the_worked_string_in_every_way_that_a_scanner_sends_it(text: str) -> None:
    assert read_code(text) == WORKED


def test_day_nought_is_the_last_day_of_its_month() -> None:
    found = read_code(f"010506091751001110628S93R{SEPARATOR}17241000218898847482518646")
    assert found == DeviceCode("05060917510011", "8898847482518646", "628S93R", date(2024, 10, 31))


@pytest.mark.parametrize("text", ["(01)51022222233336", "(01)05060917510011", "(01)09511000000002"])
def test_the_check_digit_holds_and_every_other_is_refused(text: str) -> None:
    assert read_code(text).gtin == text[4:]
    for digit in set("0123456789") - {text[-1]}:
        with pytest.raises(InvalidInput, match="cannot be read"):
            read_code(text[:-1] + digit)


@pytest.mark.parametrize("text", ["", "x" * 300, "(10)A213B1", "(01)51022222233336(17)159907", "hello"])
def test_what_is_no_code_of_a_device_is_one_sentence(text: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        read_code(text)
    assert caught.value.field == "code"


@given(st.one_of(st.text(max_size=80), st.lists(st.sampled_from(list(ELEMENTS + "()]")), max_size=60).map("".join)))
def test_no_text_makes_it_stumble(text: str) -> None:
    with suppress(InvalidInput):
        assert len(read_code(text).gtin) == 14
