"""Calculations of astigmatism: what changed between two keratometries, and the mean of many vectors."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.keratometry import Keratometry, vector_of
from forestay.calc.toric import toric_calculation
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.optics import astigmatism
from forestay.record import Record
from forestay.text import tr


class InducedAstigmatismInput(Record):
    """Keratometry before and after."""

    before: Annotated[Keratometry, Field(description="keratometry before surgery")]
    after: Annotated[Keratometry, Field(description="keratometry after surgery")]


class InducedAstigmatismOutput(Record):
    """The change as a vector; the meridian is the one that steepened."""

    magnitude_d: Annotated[float, Field(description="magnitude of the change")]
    axis_deg: Annotated[float, Field(description="meridian that steepened, 180 for none")]
    x_d: Annotated[float, Field(description="first double-angle component of the change")]
    y_d: Annotated[float, Field(description="second double-angle component of the change")]
    mean_power_change_d: Annotated[float, Field(description="change of the mean corneal power")]


@calculation(
    "induced-astigmatism",
    summary="What surgery did to the cornea: the change of its astigmatism as a vector",
    formula="x = D cos 2s, y = D sin 2s; change = after - before; axis = atan2(y, x) / 2, the meridian steepened",
    valid="regular astigmatism; same keratometric index before and after",
    input=InducedAstigmatismInput,
    output=InducedAstigmatismOutput,
    example={
        "before": {"k1_d": 44.0, "k1_axis_deg": 90, "k2_d": 43.0, "k2_axis_deg": 180},
        "after": {"k1_d": 43.25, "k1_axis_deg": 90, "k2_d": 43.5, "k2_axis_deg": 180},
    },
)
def induced_astigmatism_calculation(
    given: InducedAstigmatismInput, use: Reader
) -> tuple[InducedAstigmatismOutput, list[Doubt]]:
    """After minus before, in the double-angle plane."""
    before, doubts = vector_of(given.before, field="before", use=use)
    after, more = vector_of(given.after, field="after", use=use)
    change = after - before
    noise = use.number("astigmatism.reading_noise_d")
    doubts += more
    if change.magnitude_d < noise:
        says = tr(
            "A change under {noise:g} D can come from the keratometer alone; its meridian says nothing.",
            noise=noise,
        )
        doubts.append(Doubt("change-within-noise", says))
    output = InducedAstigmatismOutput(
        magnitude_d=float(change.magnitude_d),
        axis_deg=float(change.axis_deg),
        x_d=float(change.x_d) + 0.0,  # no negative zero
        y_d=float(change.y_d) + 0.0,
        mean_power_change_d=0.5 * (given.after.k1_d + given.after.k2_d - given.before.k1_d - given.before.k2_d),
    )
    return output, doubts


class Vector(Record):
    """An astigmatism by magnitude and steep meridian."""

    magnitude_d: Annotated[float, within("magnitude_d")]
    axis_deg: Annotated[float, within("axis_deg")]


class AstigmatismCentroidInput(Record):
    """Astigmatisms, or changes of it, of several eyes; left eyes mirrored beforehand if the side matters."""

    vectors: Annotated[tuple[Vector, ...], Field(strict=False, min_length=1, description="one for each eye")]


class AstigmatismCentroidOutput(Record):
    """Mean vector, mean of the magnitudes, and covariance of x and y (n - 1)."""

    magnitude_d: Annotated[float, Field(description="magnitude of the mean vector")]
    axis_deg: Annotated[float, Field(description="meridian of the mean vector")]
    mean_magnitude_d: Annotated[float, Field(description="mean of the single magnitudes, noise included")]
    covariance: Annotated[
        tuple[tuple[float, float], tuple[float, float]] | None,
        Field(description="covariance of the two components in D2 (n - 1); null for a single vector"),
    ]
    x_d: Annotated[float, Field(description="first double-angle component of the mean")]
    y_d: Annotated[float, Field(description="second double-angle component of the mean")]
    n: Annotated[int, Field(description="number of vectors")]


@calculation(
    "astigmatism-centroid",
    summary="Mean of several astigmatism vectors, with their scatter",
    formula="mean of x = D cos 2s and y = D sin 2s; covariance with n - 1; mean of the magnitudes beside it",
    valid="any vectors; the mean magnitude holds measurement noise, the centroid does not",
    input=AstigmatismCentroidInput,
    output=AstigmatismCentroidOutput,
    example={
        "vectors": [
            {"magnitude_d": 1.24, "axis_deg": 178},
            {"magnitude_d": 0.96, "axis_deg": 4},
            {"magnitude_d": 1.11, "axis_deg": 175},
        ]
    },
)
def astigmatism_centroid_calculation(
    given: AstigmatismCentroidInput,
    use: Reader,  # noqa: ARG001 - no constant is needed
) -> tuple[AstigmatismCentroidOutput, list[Doubt]]:
    """Centroid in the double-angle plane."""
    found = astigmatism.centroid(
        astigmatism.vector(
            magnitude_d=np.array([v.magnitude_d for v in given.vectors]),
            axis_deg=np.array([v.axis_deg for v in given.vectors]),
        )
    )
    doubts = []
    if found.covariance is None:
        doubts.append(Doubt("single-vector", tr("One vector has no scatter; its covariance is not known.")))
    output = AstigmatismCentroidOutput(
        magnitude_d=float(found.mean.magnitude_d),
        axis_deg=float(found.mean.axis_deg),
        mean_magnitude_d=found.mean_magnitude_d,
        covariance=found.covariance,
        x_d=float(found.mean.x_d),
        y_d=float(found.mean.y_d),
        n=len(given.vectors),
    )
    return output, doubts


CALCULATIONS = (induced_astigmatism_calculation, astigmatism_centroid_calculation, toric_calculation)
