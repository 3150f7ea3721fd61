"""Two keratometer readings as the calculations take them, and their astigmatism as a vector."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.optics import astigmatism, cornea
from forestay.optics.astigmatism import DoubleAngle
from forestay.optics.cornea import KeratometryConstants
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


class KeratometryInput(Record):
    """Two readings, as powers or as radii, at their meridians."""

    k1_d: Annotated[float | None, within("k1_d")] = None
    k2_d: Annotated[float | None, within("k2_d")] = None
    k1_mm: Annotated[float | None, within("radius_mm")] = None
    k2_mm: Annotated[float | None, within("radius_mm")] = None
    k1_axis_deg: Annotated[float | None, within("k1_axis_deg")] = None
    k2_axis_deg: Annotated[float | None, within("k2_axis_deg")] = None
    keratometric_index: Annotated[float | None, within("keratometric_index")] = None


class KeratometryOutput(Record):
    """The readings under the common index, with their astigmatism."""

    k1_d: Annotated[float, Field(description="first reading under the index of the house")]
    k2_d: Annotated[float, Field(description="second reading under the index of the house")]
    k1_mm: Annotated[float, Field(description="first radius")]
    k2_mm: Annotated[float, Field(description="second radius")]
    mean_d: Annotated[float, Field(description="mean power, as the formulas take it")]
    cylinder_d: Annotated[float, Field(description="difference of the two readings")]
    x_d: Annotated[float | None, Field(description="first double-angle component; null without meridians")]
    y_d: Annotated[float | None, Field(description="second double-angle component; null without meridians")]
    steep_axis_deg: Annotated[float | None, Field(description="steep meridian; null without meridians")]


@calculation(
    "keratometry",
    summary="Keratometer readings in millimetres or dioptres, under any index, as the formulas take them",
    formula="K = 1000 (n - 1) / r; under another index K' = K (n' - 1) / (n - 1); vector of readings and meridians",
    valid="regular corneas without surgery",
    input=KeratometryInput,
    output=KeratometryOutput,
    example={"k1_mm": 7.85, "k1_axis_deg": 180, "k2_mm": 7.6, "k2_axis_deg": 90},
)
def keratometry_calculation(given: KeratometryInput, use: Reader) -> tuple[KeratometryOutput, list[Doubt]]:
    """Radii to powers or powers to radii."""
    house = use.constants(KeratometryConstants).index
    doubts: list[Doubt] = []
    index = given.keratometric_index
    if index is None:
        index = house
        if given.k1_mm is None:
            says = tr("The corneal powers were taken as printed with the keratometric index {index:g}.", index=index)
            doubts.append(Doubt("keratometric-index-assumed", says))
    radii = [_radius(given, n, index) for n in (1, 2)]
    powers = [float(cornea.power_d(radius_mm=r, index=house)) for r in radii]
    x = y = steep = None
    if given.k1_axis_deg is not None and given.k2_axis_deg is not None:
        # built without the bounds of typed powers: a very steep or flat radius, or another index, lies outside them
        readings = Keratometry.model_construct(
            k1_d=powers[0], k1_axis_deg=given.k1_axis_deg, k2_d=powers[1], k2_axis_deg=given.k2_axis_deg
        )
        found, more = vector_of(readings, field="", use=use)
        doubts += more
        x, y, steep = float(found.x_d) + 0.0, float(found.y_d) + 0.0, float(found.axis_deg)
    output = KeratometryOutput(
        k1_d=powers[0],
        k2_d=powers[1],
        k1_mm=radii[0],
        k2_mm=radii[1],
        mean_d=0.5 * (powers[0] + powers[1]),
        cylinder_d=abs(powers[0] - powers[1]),
        x_d=x,
        y_d=y,
        steep_axis_deg=steep,
    )
    return output, doubts


def _radius(given: KeratometryInput, number: int, index: float) -> float:
    """The radius [mm] of a reading given as exactly one of power and radius."""
    power, radius = getattr(given, f"k{number}_d"), getattr(given, f"k{number}_mm")
    if (power is None) == (radius is None):
        field = f"k{number}_d"
        raise InvalidInput(
            tr("Give {field} or k{number}_mm, exactly one of them.", field=field, number=number),
            field=field,
            allowed=tr("one of power and radius"),
        )
    return float(radius) if power is None else float(cornea.radius_mm(k_d=power, index=index))


CALCULATIONS = (keratometry_calculation,)
