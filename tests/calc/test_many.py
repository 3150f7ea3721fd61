"""JSON in, JSON out: text that is not quite JSON is one clear error, and nothing unwritable gets into an answer."""

from __future__ import annotations

import pytest

from forestay.calc.many import answer_json, parse_json
from forestay.calc.table import find
from forestay.errors import UnreadableFile


def test_a_byte_order_mark_is_no_trouble() -> None:
    assert parse_json(b'\xef\xbb\xbf{"eye": "le-grand"}') == {"eye": "le-grand"}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (rb'{"eye": "\ud800"}', "half a character"),
        (rb'[{"eye": "le-grand"}, {"\udc00": 1}]', "half a character"),
        (b'{"eye": ' + b"9" * 5000 + b"}", "too many digits"),
        (b'{"eye": NaN}', "NaN is not a number"),
        (b'{"eye": 1, "eye": 2}', "stands twice"),
    ],
)
def test_what_could_not_be_written_out_again_is_refused(text: bytes, says: str) -> None:
    with pytest.raises(UnreadableFile, match=says) as failure:
        parse_json(text)
    assert "sys." not in failure.value.message


def test_a_whole_character_of_two_escapes_is_read() -> None:
    assert parse_json(rb'{"eye": "\ud83d\ude00"}') == {"eye": "\U0001f600"}


def test_a_bad_item_keeps_its_place() -> None:
    answers = answer_json(find("schematic-eye"), b'[{"eye": "le-grand"}, 5, {"eye": "navarro"}]')
    assert ["error" in a for a in answers] == [False, True, False]
