"""One calculation: a name, typed input, typed output, one pure function; and the envelope of every answer."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from pydantic import BaseModel

from forestay.answer import Doubt, unique
from forestay.evidence import EvidenceSet, Reader, default_evidence
from forestay.eye.validation import validate

I = TypeVar("I", bound=BaseModel)  # noqa: E741 - input of a calculation
O = TypeVar("O", bound=BaseModel)  # noqa: E741 - output of a calculation


@dataclass(frozen=True)
class Answer(Generic[O]):
    """Result with its doubts and sources; :meth:`as_dict` is the envelope of the command and the web."""

    calculation: str
    result: O
    doubts: tuple[Doubt, ...]
    sources: list[dict[str, Any]]

    def as_dict(self) -> dict[str, Any]:
        """``{"calculation", "result", "doubts", "sources"}`` in plain JSON types."""
        return {
            "calculation": self.calculation,
            "result": self.result.model_dump(mode="json", exclude_unset=False),
            "doubts": [{"code": d.code, "message": d.message} for d in self.doubts],
            "sources": self.sources,
        }


@dataclass(frozen=True)
class Calculation(Generic[I, O]):
    """A row of the table of calculations. Call it with the keys of its input, as keywords.

    ``formula`` and ``valid`` are short texts for the screen: what is computed, and for which eyes it was studied.
    """

    name: str
    summary: str
    formula: str
    valid: str
    input: type[I]
    output: type[O]
    function: Callable[[I, Reader], tuple[O, list[Doubt]]]
    example: Mapping[str, Any]

    def __call__(self, **keys: Any) -> Answer[O]:
        """Calculate with the evidence that ships; raises a :class:`~forestay.errors.ForestayError` on bad input."""
        return self.run(keys)

    def run(self, payload: Mapping[str, Any], evidence: EvidenceSet | None = None) -> Answer[O]:
        """Validate ``payload``, calculate, and wrap the result in its envelope."""
        given = validate(self.input, payload)
        use = (evidence or default_evidence()).reader()
        result, doubts = self.function(given, use)
        return Answer(self.name, result, unique([*doubts, *use.doubts()]), use.sources())


def calculation(
    name: str,
    *,
    summary: str,
    formula: str,
    valid: str,
    input: type[I],  # noqa: A002 - the table's own word
    output: type[O],
    example: Mapping[str, Any],
) -> Callable[[Callable[[I, Reader], tuple[O, list[Doubt]]]], Calculation[I, O]]:
    """Turn a function ``(input, reader) -> (output, doubts)`` into a row of the table."""

    def wrap(function: Callable[[I, Reader], tuple[O, list[Doubt]]]) -> Calculation[I, O]:
        return Calculation(name, summary, formula, valid, input, output, function, example)

    return wrap
