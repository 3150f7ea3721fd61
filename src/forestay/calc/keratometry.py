"""Two keratometer readings as the calculations take them, and their astigmatism as a vector."""

from __future__ import annotations

from typing import Annotated

from forestay.answer import Doubt
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.optics import astigmatism
from forestay.optics.astigmatism import DoubleAngle
from forestay.record import Record
from forestay.text import tr


class Keratometry(Record):
    """Two readings at their meridians."""

    k1_d: Annotated[float, within("k1_d")]
    k1_axis_deg: Annotated[float, within("k1_axis_deg")]
    k2_d: Annotated[float, within("k2_d")]
    k2_axis_deg: Annotated[float, within("k2_axis_deg")]


def vector_of(readings: Keratometry, *, field: str, use: Reader) -> tuple[DoubleAngle, list[Doubt]]:
    """The double-angle vector of two readings; meridians that are not perpendicular are doubted, or refused."""
    apart = astigmatism.departure_deg(k1_axis_deg=readings.k1_axis_deg, k2_axis_deg=readings.k2_axis_deg)
    doubtful, refused = use.numbers("astigmatism.departure_deg")
    where = f"{field}.k2_axis_deg" if field else "k2_axis_deg"
    if apart > refused:
        raise InvalidInput(
            tr(
                "{where} is {value:g}; allowed: about 90 degrees from k1_axis_deg ({first:g}).",
                where=where,
                value=readings.k2_axis_deg,
                first=readings.k1_axis_deg,
            ),
            field=where,
            value=readings.k2_axis_deg,
            allowed=tr("about 90 degrees from k1_axis_deg"),
        )
    doubts = []
    if apart > doubtful:
        says = tr("The two meridians miss being perpendicular by {apart:g} degrees; the middle was taken.", apart=apart)
        doubts.append(Doubt("meridians-not-perpendicular", says))
    vector = astigmatism.of_readings(
        k1_d=readings.k1_d,
        k1_axis_deg=readings.k1_axis_deg,
        k2_d=readings.k2_d,
        k2_axis_deg=readings.k2_axis_deg,
    )
    return vector, doubts
