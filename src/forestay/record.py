"""The base of every typed record that crosses an edge: strict, frozen, no unknown key, no NaN."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, model_validator


class Record(BaseModel):
    """Strict, immutable, closed: ``"23.5"`` is not a number here, and an unknown key is refused.

    ``null`` for a key that may be left out is the same as leaving it out.
    """

    model_config = ConfigDict(strict=True, frozen=True, extra="forbid", allow_inf_nan=False)

    @model_validator(mode="before")
    @classmethod
    def _null_is_absent(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        optional = {name for name, field in cls.model_fields.items() if not field.is_required()}
        return {key: value for key, value in data.items() if not (value is None and key in optional)}
