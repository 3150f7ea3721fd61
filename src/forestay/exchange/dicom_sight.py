"""Refraction and acuity of one eye from a DICOM object, in the words of a visit."""

from __future__ import annotations

from forestay.exchange import dicom_terms as terms
from forestay.exchange.dicom_eye import DECIMALS, EyeReading
from forestay.exchange.dicom_part import Part, wrong
from forestay.exchange.units import logmar_of_decimal
from forestay.eye.quantity import bounds
from forestay.text import tr

ACUITY_DECIMALS = 3
HALF_TURN = 180
RIGHT_ANGLE = 90


def read_refraction(eye: Part, side: str) -> EyeReading:
    """The spherical equivalent, and the cylinder as a positive power with its axis, whichever sign it came with."""
    reading = EyeReading(side)
    sphere = eye.number("SpherePower", "refraction_d")
    if sphere is None:
        raise eye.missing("SpherePower")
    item = eye.item("CylinderSequence")
    power = axis = 0.0
    if item is not None:
        given, turned = item.plain_number("CylinderPower"), item.number("CylinderAxis", "axis_deg")
        if given is None or turned is None:
            raise item.missing("CylinderPower" if given is None else "CylinderAxis")
        power, axis = given, turned
    low, high = bounds("magnitude_d")
    if not low <= abs(power) <= high:
        raise wrong("CylinderPower", f"{power:g}", tr("at most {high:g} D", high=high), eye.where)
    equivalent = sphere + power / 2
    low, high = bounds("refraction_d")
    if not low <= equivalent <= high:
        raise wrong(
            "SpherePower",
            f"{sphere:g}",
            tr("a spherical equivalent of {low:g} to {high:g} D", low=low, high=high),
            eye.where,
        )
    reading.keep("refraction_d", equivalent)
    reading.seen["refraction_d"] = reading.values["refraction_d"]
    if power:
        turned_axis = (axis + RIGHT_ANGLE) % HALF_TURN if power < 0 else axis
        reading.seen |= {"cylinder_d": round(abs(power), DECIMALS), "cylinder_axis_deg": round(turned_axis, DECIMALS)}
    return reading


def read_acuity(whole: Part, eye: Part, side: str) -> EyeReading:
    """logMAR of a distance acuity with its type; near vision and other types are left, and that is said."""
    reading = EyeReading(side)
    kind = terms.ACUITY_TYPES[whole.need_code("VisualAcuityTypeCodeSequence", terms.ACUITY_TYPES)]
    distance = whole.word("ViewingDistanceType", ("DISTANCE", "NEAR", "INTERMEDIATE"))
    if distance not in (None, "DISTANCE") or kind not in terms.KEPT_ACUITY:
        reading.notes.append(
            tr(
                "{where}: acuity {kind}, {distance}, was not taken.",
                where=eye.where,
                kind=kind,
                distance=distance or "",
            )
        )
        return reading
    decimal = eye.plain_number("DecimalVisualAcuity")
    if decimal is None:
        raise eye.missing("DecimalVisualAcuity")
    low, high = bounds("visual_acuity_logmar")
    smallest, largest = 10**-high, 10**-low
    if not smallest <= decimal <= largest:
        raise wrong("DecimalVisualAcuity", f"{decimal:g}", f"{smallest:.3g} – {largest:.3g}", eye.where)
    if eye.has("VisualAcuityModifiers"):
        reading.notes.append(tr("{where}: letters more or less than the line were not counted.", where=eye.where))
    reading.seen = {"acuity_logmar": round(logmar_of_decimal(decimal), ACUITY_DECIMALS) + 0.0, "acuity_type": kind}
    return reading
