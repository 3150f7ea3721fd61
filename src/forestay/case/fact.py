"""A fact: one immutable record of one thing about one eye. A header, a kind, a typed body kept as exact bytes."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated, Any
from uuid import UUID, uuid4

from pydantic import AfterValidator, BeforeValidator, Field

from forestay.case.bodies import BODIES, Body, Kind, Name, Uuid
from forestay.case.jsontext import canonical, parse
from forestay.case.upcast import CURRENT, UPCASTERS, Upcasters, upcast
from forestay.errors import InvalidInput
from forestay.eye.validation import validate
from forestay.record import Record
from forestay.text import tr


def _moment(value: Any) -> Any:
    words = tr("a date and time with its zone, as in 2026-03-01T09:12:00+01:00")
    try:
        moment = datetime.fromisoformat(value) if isinstance(value, str) else value
    except ValueError:
        raise ValueError(words) from None
    if isinstance(moment, datetime):
        offset = moment.utcoffset()
        if offset is None or offset.total_seconds() % 60:
            raise ValueError(words)
    return moment


Moment = Annotated[datetime, BeforeValidator(_moment)]
"""A date and time with its zone; written as ISO 8601."""


def _case_id(value: str) -> str:
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", value):
        raise ValueError(tr("1 to 64 letters, digits, dots, dashes or underscores, a letter or digit first"))
    return value


CaseId = Annotated[str, AfterValidator(_case_id)]
Sequence = Annotated[int, Field(ge=0, le=2**53)]


class Header(Record):
    """Who said what when, of which case, knowing what.

    ``id`` is made by the client and is also the key by which a repeat is recognised. ``author`` and ``device`` are
    pseudonyms. ``based_on`` is the last server sequence that the author had seen (0: none). ``received_at`` and
    ``server_sequence`` are given on acceptance. Clocks order the display only.
    """

    id: Uuid
    case: CaseId
    kind: Kind
    schema_version: Annotated[int, Field(ge=1)]
    author: Name
    device: Name
    device_sequence: Sequence
    happened_at: Moment
    recorded_at: Moment
    received_at: Moment | None = None
    based_on: Sequence = 0
    corrects: Uuid | None = None
    server_sequence: Annotated[int, Field(ge=1, le=2**53)] | None = None

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON types, without what is not given: a key added later leaves the chain of older facts whole."""
        return {name: _plain(value) for name, value in self if value is not None}


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat()
    return str(value) if isinstance(value, UUID) else value


@dataclass(frozen=True, slots=True)
class Fact:
    """A header and the exact bytes of its body. :func:`content` reads the body."""

    header: Header
    body: bytes


def canonical_header(header: Header) -> bytes:
    """The bytes of a header that the chain covers."""
    return canonical(header.as_dict())


def read_header(data: bytes) -> Header:
    """A header from the bytes that :func:`canonical_header` made."""
    return validate(Header, parse(data, what=tr("a kept header")))


def new_fact(
    body: Body,
    *,
    case: str,
    author: str,
    device: str,
    device_sequence: int,
    happened_at: datetime | None = None,
    recorded_at: datetime | None = None,
    based_on: int = 0,
    corrects: UUID | None = None,
    id: UUID | None = None,  # noqa: A002 - the header's own word
) -> Fact:
    """A fact as a client makes it, not yet accepted. Without times it happened, and was recorded, now."""
    now = datetime.now(UTC).astimezone()
    header = validate(
        Header,
        {
            "id": id or uuid4(),
            "case": case,
            "kind": body.KIND,
            "schema_version": CURRENT[body.KIND],
            "author": author,
            "device": device,
            "device_sequence": device_sequence,
            "happened_at": happened_at or now,
            "recorded_at": recorded_at or happened_at or now,
            "based_on": based_on,
            "corrects": corrects,
        },
    )
    return Fact(header, canonical(body.model_dump(mode="json", exclude_none=True)))


def content(fact: Fact, upcasters: Upcasters = UPCASTERS) -> Body:
    """The typed body, brought up to today's schema on reading; the bytes stay as they were written."""
    raw = parse(fact.body, what=tr("the body of fact {id}", id=fact.header.id))
    if not isinstance(raw, dict):
        raise InvalidInput(
            tr("The body of fact {id} is not a table.", id=fact.header.id), field="body", allowed=tr("a table of keys")
        )
    kind = fact.header.kind
    return validate(BODIES[kind], upcast(kind, fact.header.schema_version, raw, upcasters))
