"""The base of every typed record that crosses an edge: strict, frozen, no unknown key, no NaN."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Record(BaseModel):
    """Strict, immutable, closed: ``"23.5"`` is not a number here, and an unknown key is refused."""

    model_config = ConfigDict(strict=True, frozen=True, extra="forbid", allow_inf_nan=False)
