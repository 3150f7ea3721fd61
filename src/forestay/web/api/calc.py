"""``/api/calc``: every calculation by name, its schema, and its answer to one object or to a list of them."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool

from forestay.calc.table import CALCULATIONS, find
from forestay.services.answers import answer
from forestay.web.bodies import read_json
from forestay.web.failures import PlainJson


class Failure(BaseModel):
    """What went wrong."""

    code: str
    field: str | None
    value: Any
    allowed: str | None
    message: str


class FailureAnswer(BaseModel):
    """The one shape of an error."""

    error: Failure


class Named(BaseModel):
    """A calculation in the list."""

    name: str
    summary: str
    schema_address: str
    reference: str


class Listed(BaseModel):
    """All calculations."""

    calculations: list[Named]


class Answered(BaseModel):
    """Result with its doubts and sources."""

    calculation: str
    result: dict[str, Any]
    doubts: list[dict[str, Any]]
    sources: list[dict[str, Any]]


Responses = dict[int | str, dict[str, Any]]
router = APIRouter(prefix="/api/calc", tags=["calculations"], default_response_class=PlainJson)
UNKNOWN: Responses = {404: {"model": FailureAnswer, "description": "There is no calculation of that name"}}
REFUSED: Responses = {
    400: {"model": FailureAnswer, "description": "The body is not JSON"},
    413: {"model": FailureAnswer, "description": "The body is too large"},
    422: {"model": FailureAnswer, "description": "A key is unknown or missing, or a value cannot be"},
}
BODY = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {"oneOf": [{"type": "object"}, {"type": "array", "items": {}}]},
            }
        },
    }
}


@router.get("", response_model=Listed)
def calculations() -> PlainJson:
    """All calculations, with where their schema and their page are."""
    rows = [
        Named(
            name=name,
            summary=row.summary,
            schema_address=f"/api/calc/{name}/schema",
            reference=f"/reference/{name}",
        ).model_dump()
        for name, row in CALCULATIONS.items()
    ]
    return PlainJson({"calculations": rows})


@router.get("/{name}/schema", responses=UNKNOWN, response_model=dict[str, Any])
def schema(name: str) -> PlainJson:
    """JSON Schema of the input, with units and ranges."""
    return PlainJson(find(name).input.model_json_schema())


@router.post(
    "/{name}",
    responses={**UNKNOWN, **REFUSED},
    response_model=Answered | list[Answered | FailureAnswer],
    openapi_extra=BODY,
)
async def calculate(name: str, request: Request) -> PlainJson:
    """Answer one object, or a list of objects; a bad item of a list is answered by its error, in its place."""
    find(name)
    payload = await read_json(request)
    return PlainJson(await run_in_threadpool(answer, name, payload))
