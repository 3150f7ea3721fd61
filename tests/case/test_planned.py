"""A plan is kept byte for byte, packed; one that was kept before it was packed is still read; a broken one is refused."""

from __future__ import annotations

import base64
import gzip

import pytest

from forestay.case import bodies
from forestay.case.bodies import Planned, planned
from forestay.errors import InvalidInput
from forestay.eye.validation import validate

PLAN = b'{"decision": "operate", "margins": [' + b'{"key": "room"}, ' * 200 + b"{}]}"
BY = {
    "engine_version": "0.1.0",
    "evidence_digest": "0" * 64,
    "practice_digest": "1" * 64,
    "context_digest": "2" * 64,
}


def test_a_plan_comes_back_byte_for_byte_and_takes_less_room() -> None:
    kept = planned(PLAN, **BY)
    assert kept.plan_bytes == PLAN
    assert len(kept.plan) < len(PLAN) / 5
    assert planned(PLAN, **BY) == kept  # the same plan is the same fact
    assert gzip.decompress(base64.b64decode(kept.plan)) == PLAN  # RFC 1952, so that others can read it


def test_a_plan_that_was_kept_unpacked_is_read() -> None:
    old = validate(Planned, {"plan": base64.b64encode(PLAN).decode(), **BY})
    assert old.plan_bytes == PLAN


@pytest.mark.parametrize("what", ["cut short", "goes on", "changed", "no base64", "too large"])
def test_a_broken_one_is_refused(what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    packed = gzip.compress(PLAN, mtime=0)
    wrong = {
        "cut short": packed[:-9],
        "goes on": packed + b"more",
        "changed": packed[:20] + bytes([packed[20] ^ 255]) + packed[21:],
        "too large": packed,
    }.get(what, b"")
    if what == "too large":
        monkeypatch.setattr(bodies, "LARGEST_PLAN", len(PLAN) - 1)
    plan = "%%%" if what == "no base64" else base64.b64encode(wrong).decode()
    with pytest.raises(InvalidInput, match="cannot be read"):
        validate(Planned, {"plan": plan, **BY})
