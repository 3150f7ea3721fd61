"""``/api/cases/{case_id}/facts``: facts from a device, acknowledged after the commit, and facts since a sequence."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool

from forestay.case.bodies import Kind
from forestay.services.accounts import Accounts
from forestay.services.entering import after, disagreements, enter
from forestay.services.planning import Desk
from forestay.web.api.calc import FailureAnswer, Responses
from forestay.web.bodies import read_json
from forestay.web.failures import PlainJson

LARGEST_SEQUENCE = 2**31 - 1


class Kept(BaseModel):
    """A fact that is on disk."""

    id: str
    server_sequence: int
    received_at: str


class InDispute(BaseModel):
    """A field that facts give different values, neither made in knowledge of the other."""

    field: str
    values: list[str]


class KeptFacts(BaseModel):
    """Acknowledgements in the order in which the facts were sent, and the end of the case now.

    ``disagreements`` is looked at only where somebody else kept something since the facts' ``based_on``.
    """

    facts: list[Kept]
    head: int
    disagreements: list[InDispute]


class KnownFact(BaseModel):
    """An accepted fact; ``body`` is its exact text, null where it was erased."""

    header: dict[str, Any]
    body: str | None
    chain: str


class KnownFacts(BaseModel):
    """Facts in the order of acceptance."""

    facts: list[KnownFact]


REFUSED: Responses = {
    400: {"model": FailureAnswer, "description": "The body is not JSON"},
    403: {"model": FailureAnswer, "description": "Such a fact may not be entered by whoever asks"},
    404: {"model": FailureAnswer, "description": "There is no such case or fact"},
    409: {"model": FailureAnswer, "description": "The identity is taken by other content"},
    410: {"model": FailureAnswer, "description": "The case was erased"},
    413: {"model": FailureAnswer, "description": "The body is too large"},
    422: {"model": FailureAnswer, "description": "A key is unknown or missing, or a value cannot be"},
    503: {"model": FailureAnswer, "description": "The database does not answer now; nothing was kept"},
}
FACT = {
    "type": "object",
    "required": ["header", "body"],
    "properties": {"header": {"type": "object"}, "body": {"type": "string"}},
    "additionalProperties": False,
}
BODY = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {
                    "type": "object",
                    "required": ["facts"],
                    "properties": {"facts": {"type": "array", "items": FACT, "minItems": 1, "maxItems": 500}},
                    "additionalProperties": False,
                }
            }
        },
    }
}


def router(desk: Desk, accounts: Accounts | None = None) -> APIRouter:
    """The two addresses, over the desk's store.

    With accounts, a fact comes from whoever is signed in, on this device or on one of an earlier session of the same
    person: what waited while there was no network is not lost with its session.
    """

    def check(kind: Kind, author: str, device: str) -> None:
        now = desk.device
        mine = accounts is not None and author == desk.author and device != now
        desk.check(kind, author, now if mine and accounts is not None and accounts.was_on(author, device) else device)

    routes = APIRouter(prefix="/api/cases/{case_id}/facts", tags=["facts"], default_response_class=PlainJson)

    @routes.post("", response_model=KeptFacts, responses=REFUSED, openapi_extra=BODY)
    async def send(case_id: str, request: Request) -> PlainJson:
        """Keep facts, all or none. The answer comes after the commit; sending again changes nothing."""
        sent = await read_json(request)
        kept = await run_in_threadpool(enter, desk.store, case_id, sent, check=check)
        head, disputed = await run_in_threadpool(disagreements, desk.store, case_id, sent, kept)
        return PlainJson({"facts": [asdict(one) for one in kept], "head": head, "disagreements": disputed})

    @routes.get("", response_model=KnownFacts, responses=REFUSED)
    def since(case_id: str, after_sequence: int = Query(0, alias="after", ge=0, le=LARGEST_SEQUENCE)) -> PlainJson:
        """The facts after a sequence."""
        return PlainJson({"facts": after(desk.store, case_id, after_sequence)})

    return routes
