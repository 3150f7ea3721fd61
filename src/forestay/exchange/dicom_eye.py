"""What a DICOM object says of one eye, as fields of the case file.

Lengths are kept to 0.01 mm: the standard writes them as 32-bit numbers, so that 23.45 reads back as 23.450000762.
Powers are kept to 0.01 D for the index 1.3375, so that they can be compared with readings of other instruments.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, cast

from forestay.errors import InvalidInput, MissingInput
from forestay.evidence import default_evidence
from forestay.exchange import dicom_terms as terms
from forestay.exchange.dicom_part import Part, named, wrong
from forestay.eye.quantity import bounds
from forestay.text import tr

DECIMALS = 2
ABOUT_A_DEGREE = 1.01
"""Both axes come rounded to whole degrees, so that they may be this far from a right angle."""
SAME_POWER_D = 0.06
"""Power and radius agree within the rounding of both."""
EYES = {"right": "Right", "left": "Left"}


@dataclass(slots=True)
class EyeReading:
    """Values by key of ``biometry``, what else was said, and what the reader should know."""

    side: str
    values: dict[str, Any] = field(default_factory=dict)
    found: dict[str, Any] = field(default_factory=dict)
    """Other fields by path, such as ``eye.pressure_mmhg``: said of the eye in question, not of its fellow."""
    seen: dict[str, Any] = field(default_factory=dict)
    """What belongs to a visit: acuity with its type, refraction."""
    lens: terms.Code | None = None
    vitrectomised: bool = False
    target_d: float | None = None
    notes: list[str] = field(default_factory=list)

    def keep(self, key: str, value: float | None, decimals: int = DECIMALS) -> None:
        """Keep a value that is there."""
        if value is not None:
            self.values[key] = round(value, decimals) + 0.0


def read_axial(whole: Part, eye: Part, side: str) -> EyeReading:
    """Length, method, depth and thickness from one eye's axial measurements."""
    reading = EyeReading(side)
    reading.lens = eye.need_code("LensStatusCodeSequence", terms.LENS_STATUS)
    vitreous = eye.need_code("VitreousStatusCodeSequence", terms.VITREOUS_STATUS)
    reading.vitrectomised = vitreous != terms.VITREOUS_ONLY
    method = _method(whole)
    if method != "optical" and vitreous in (terms.OIL, terms.GAS):
        raise wrong(
            "VitreousStatusCodeSequence",
            terms.VITREOUS_STATUS[vitreous],
            tr("with ultrasound: vitreous or watery fluid, in which the speed of sound is known"),
            eye.where,
        )
    reading.values["axial_length_method"] = method
    kind = "Optical" if method == "optical" else "Ultrasound"
    other = "Ultrasound" if method == "optical" else "Optical"
    if eye.items(f"{other}SelectedOphthalmicAxialLengthSequence"):
        raise wrong(
            "OphthalmicAxialMeasurementsDeviceType",
            method,
            tr("the kind of device whose length was selected"),
            eye.where,
        )
    chosen = eye.item(f"{kind}SelectedOphthalmicAxialLengthSequence")
    if chosen is not None:
        _selected(chosen, reading)
    else:
        _mean_length(eye, reading)
    segments = _segments((chosen or eye).items("SelectedSegmentalOphthalmicAxialLengthSequence"))
    _depths(whole, segments or _measured_segments(eye), reading, eye.where)
    return reading


def _method(whole: Part) -> str:
    device = whole.word("OphthalmicAxialMeasurementsDeviceType", ("ULTRASOUND", "OPTICAL"))
    if device is None:
        raise whole.missing("OphthalmicAxialMeasurementsDeviceType")
    if device == "OPTICAL":
        return "optical"
    return terms.ULTRASOUND_METHOD[whole.need_code("OphthalmicUltrasoundMethodCodeSequence", terms.ULTRASOUND_METHOD)]


def _selected(chosen: Part, reading: EyeReading) -> None:
    length = chosen.number("OphthalmicAxialLength", "axial_length_mm")
    if length is None:
        total = chosen.item("SelectedTotalOphthalmicAxialLengthSequence")
        length = total.number("OphthalmicAxialLength", "axial_length_mm") if total else None
    if length is None:
        raise chosen.missing("OphthalmicAxialLength")
    reading.keep("axial_length_mm", length)


def _mean_length(eye: Part, reading: EyeReading) -> None:
    """No length was selected: the mean of those that nobody changed by hand, said as such."""
    lengths: list[float] = []
    changed = 0
    for kind, inner in (("TOTAL LENGTH", "TotalLength"), ("LENGTH SUMMATION", "LengthSummation")):
        for item in eye.items("OphthalmicAxialLengthMeasurementsSequence"):
            if item.data.get("OphthalmicAxialLengthMeasurementsType") != kind:
                continue
            for one in item.items(f"OphthalmicAxialLengthMeasurements{inner}Sequence"):
                length = one.number("OphthalmicAxialLength", "axial_length_mm")
                if one.word("OphthalmicAxialLengthMeasurementModified", ("YES", "NO")) == "YES":
                    changed += 1
                elif length is not None:
                    lengths.append(length)
        if lengths:
            break
    if not lengths:
        raise MissingInput(
            tr("{where} holds no axial length that was selected, or measured and left unchanged.", where=eye.where),
            field=named("OphthalmicAxialLength"),
            allowed=tr("a selected length, or measurements not changed by hand"),
        )
    reading.keep("axial_length_mm", sum(lengths) / len(lengths))
    reading.notes.append(
        tr(
            "{where}: no length was selected at the device; the mean of {n} measurements was taken, {changed} changed by hand were left out.",
            where=eye.where,
            n=len(lengths),
            changed=changed,
        )
    )


def _segments(items: list[Part]) -> dict[terms.Code, float]:
    """Mean length of each segment, in mm."""
    found: dict[terms.Code, list[float]] = {}
    for item in items:
        code = item.code("OphthalmicAxialLengthMeasurementsSegmentNameCodeSequence", terms.SEGMENTS)
        length = item.plain_number("OphthalmicAxialLength")
        if code is not None and length is not None:
            found.setdefault(code, []).append(length)
    return {code: sum(lengths) / len(lengths) for code, lengths in found.items()}


def _measured_segments(eye: Part) -> dict[terms.Code, float]:
    return _segments(
        [
            segment
            for item in eye.items("OphthalmicAxialLengthMeasurementsSequence")
            if item.data.get("OphthalmicAxialLengthMeasurementsType") == "SEGMENTAL LENGTH"
            for segment in item.items("OphthalmicAxialLengthMeasurementsSegmentalLengthSequence")
            if segment.word("OphthalmicAxialLengthMeasurementModified", ("YES", "NO")) != "YES"
        ]
    )


def _depths(whole: Part, segments: dict[terms.Code, float], reading: EyeReading, where: str) -> None:
    cornea = _within(segments, terms.CORNEA, "corneal_thickness_um", where, scale=1000)
    if cornea is not None:
        reading.keep("corneal_thickness_um", cornea * 1000, 0)
    if reading.lens == terms.CRYSTALLINE:
        reading.keep("lens_thickness_mm", _within(segments, terms.LENS, "lens_thickness_mm", where))
    depth = _within(segments, terms.CHAMBER, "chamber_depth_mm", where)
    definition = whole.code("AnteriorChamberDepthDefinitionCodeSequence", terms.DEPTH_DEFINITION)
    _depth(depth, definition, cornea, reading, where)


def _depth(
    depth_mm: float | None, definition: terms.Code | None, cornea_mm: float | None, reading: EyeReading, where: str
) -> None:
    """The depth from the corneal front; where the object does not say from where it counts, it is not taken."""
    if depth_mm is None or reading.lens not in (None, terms.CRYSTALLINE):
        return
    if definition == terms.DEPTH_FROM_FRONT:
        reading.keep("chamber_depth_mm", depth_mm)
    elif definition == terms.DEPTH_FROM_BACK and cornea_mm is not None:
        reading.keep("chamber_depth_mm", depth_mm + cornea_mm)
        reading.notes.append(
            tr("{where}: the depth counted from the back of the cornea; its thickness was added.", where=where)
        )
    else:
        why = (
            tr("it counts from the back of the cornea, whose thickness is not given")
            if definition
            else tr("the object does not say from which surface of the cornea it counts")
        )
        reading.notes.append(
            tr("{where}: the chamber depth {depth:.2f} mm was not taken: {why}.", where=where, depth=depth_mm, why=why)
        )


def _within(
    segments: dict[terms.Code, float], code: terms.Code, limit: str, where: str, *, scale: float = 1
) -> float | None:
    length = segments.get(code)
    if length is None:
        return None
    low, high = bounds(limit)
    if not low <= length * scale <= high:
        allowed = f"{low / scale:g} – {high / scale:g} mm"
        raise wrong("OphthalmicAxialLength", f"{length:g} mm ({terms.SEGMENTS[code]})", allowed, where)
    return length


def read_keratometry(eye: Part, side: str, *, index: float | None = None) -> EyeReading:
    """Both corneal powers with their axes; ``index``: the one that the object itself states, if any."""
    reading = EyeReading(side)
    flat, steep = (
        _meridian(eye.need(f"{name}KeratometricAxisSequence"), reading, eye.where, index) for name in ("Flat", "Steep")
    )
    if flat[0] > steep[0]:
        raise wrong(
            "FlatKeratometricAxisSequence",
            f"{flat[0]:g} D",
            tr("not steeper than {power:g} D", power=steep[0]),
            eye.where,
        )
    apart = abs(flat[1] - steep[1]) % 180
    if flat[0] != steep[0] and abs(apart - 90) > ABOUT_A_DEGREE:
        raise wrong("KeratometricAxis", f"{flat[1]:g}, {steep[1]:g}", tr("two axes 90 degrees apart"), eye.where)
    for name, (power, axis) in (("k1", flat), ("k2", steep)):
        reading.keep(f"{name}_d", power)
        reading.keep(f"{name}_axis_deg", axis)
    return reading


def _meridian(part: Part, reading: EyeReading, where: str, index: float | None) -> tuple[float, float]:
    """Power for the house's index, and axis, of one meridian. Radius and power must speak of one cornea."""
    house = cast(float, default_evidence()["keratometry.index"].value)
    low, high = bounds("k1_d")
    power = part.number("KeratometricPower", "k1_d")
    axis = part.number("KeratometricAxis", "k1_axis_deg")
    radius = part.plain_number("RadiusOfCurvature")
    if power is None or axis is None:
        raise part.missing("KeratometricPower" if power is None else "KeratometricAxis")
    if radius is None:
        if index is None:
            raise part.missing("RadiusOfCurvature")
        radius = (index - 1) * 1000 / power
    smallest, largest = (house - 1) * 1000 / high, (house - 1) * 1000 / low
    if not smallest <= radius <= largest:
        raise wrong("RadiusOfCurvature", f"{radius:g}", f"{smallest:.2f} – {largest:.2f} mm", where)
    expected = (house - 1) * 1000 / radius
    if abs(expected - power) <= SAME_POWER_D:
        return round(power, DECIMALS), axis
    used = 1 + power * radius / 1000
    lowest, highest = bounds("keratometric_index")
    if not lowest <= used <= highest:
        raise InvalidInput(
            tr(
                "{tag} in {where}: {power:g} D and the radius {radius:g} mm are not of one cornea; {expected:.2f} D was expected.",
                tag=named("KeratometricPower"),
                where=where,
                power=power,
                radius=radius,
                expected=expected,
            ),
            field=named("KeratometricPower"),
            value=power,
            allowed=tr("a power that fits the radius, for an index of {low:g} to {high:g}", low=lowest, high=highest),
        )
    note = tr(
        "{where}: the keratometer counts with the index {used:.4f}; powers were taken from the radii for {house:g}.",
        where=where,
        used=used,
        house=house,
    )
    if note not in reading.notes:
        reading.notes.append(note)
    return round(expected, DECIMALS), axis


def read_lens_calculation(eye: Part, whole: Part, side: str) -> EyeReading:
    """What a lens calculation was made from, and its target; what it proposed stays in the object."""
    reading = EyeReading(side)
    if eye.items("SteepKeratometricAxisSequence") or eye.items("FlatKeratometricAxisSequence"):
        reading = read_keratometry(eye, side, index=eye.plain_number("KeratometerIndex"))
    reading.lens = eye.code("LensStatusCodeSequence", terms.LENS_STATUS)
    length = eye.item("OphthalmicAxialLengthSequence")
    if length is not None:
        reading.keep("axial_length_mm", length.number("OphthalmicAxialLength", "axial_length_mm"))
        if length.has("OphthalmicAxialMeasurementsDeviceType"):
            reading.values["axial_length_method"] = _method(length)
    thickness = eye.item("LensThicknessSequence")
    if thickness is not None:
        reading.keep("lens_thickness_mm", thickness.number("LensThickness", "lens_thickness_mm"))
    depth = eye.item("AnteriorChamberDepthSequence")
    if depth is not None:
        stated = next((p for p in (depth, eye, whole) if p.items("AnteriorChamberDepthDefinitionCodeSequence")), whole)
        definition = stated.code("AnteriorChamberDepthDefinitionCodeSequence", terms.DEPTH_DEFINITION)
        _depth(depth.number("AnteriorChamberDepth", "chamber_depth_mm"), definition, None, reading, eye.where)
    reading.keep("white_to_white_mm", eye.number("CornealSize", "white_to_white_mm"))
    reading.target_d = eye.number("TargetRefraction", "target_d")
    if eye.word("RefractiveProcedureOccurred", ("YES", "NO")) == "YES":
        reading.notes.append(
            tr(
                "{where}: refractive surgery was done before; keratometry and formulas mislead in such an eye.",
                where=eye.where,
            )
        )
    return reading
