"""Will the nucleus pass the tunnel: the lip that it needs, and the lip that a cut of a given shape has."""

from __future__ import annotations

import numpy as np

from forestay.errors import InvalidInput
from forestay.mechanics.geometry import Numbers, ellipse_perimeter_mm, plain, require, require_positive
from forestay.text import tr

SHAPES: tuple[str, ...] = ("straight", "frown", "chevron")


def needed_lip_mm(
    *,
    nucleus_diameter_mm: Numbers,
    nucleus_thickness_mm: Numbers,
    instrument_thickness_mm: Numbers,
    tissue_give: Numbers,
) -> Numbers:
    """Lip length through which nucleus and instruments pass: P(D, T + t) / (2 s).

    A slit of lip length w with both lips stretched by s opens to a girth of 2 w s. Nucleus and instruments are taken
    as one ellipse, as thick as both together: exact without instruments. Against the hull of the ellipse and its
    instruments it agrees to 0.06 mm of lip for a 0.3 mm loop below, and asks 0.17 to 0.27 mm too much for such a loop
    with a 0.5 mm bar above (0.8 mm together).

    Parameters: ``nucleus_diameter_mm`` D, ``nucleus_thickness_mm`` T [mm] above 0, ``instrument_thickness_mm`` t [mm]
    0 or more, ``tissue_give`` s [-] 1 or more. Result: lip length [mm], the same for inner and outer lip.

    >>> whole = {"nucleus_diameter_mm": 7.13, "nucleus_thickness_mm": 3.05}
    >>> round(float(needed_lip_mm(**whole, instrument_thickness_mm=0.0, tissue_give=1.0)), 2)
    8.32
    """
    require(
        holds=np.asarray(instrument_thickness_mm) >= 0,
        field="instrument_thickness_mm",
        value=instrument_thickness_mm,
        allowed=tr("0 or more"),
    )
    require(holds=np.asarray(tissue_give) >= 1, field="tissue_give", value=tissue_give, allowed=tr("1 or more"))
    require_positive(nucleus_thickness_mm=nucleus_thickness_mm)
    thickness = np.asarray(nucleus_thickness_mm) + np.asarray(instrument_thickness_mm)
    girth = ellipse_perimeter_mm(diameter_mm=nucleus_diameter_mm, thickness_mm=thickness)
    return plain(girth / (2 * np.asarray(tissue_give)))


def lip_length_mm(*, chord_mm: Numbers, sagitta_mm: Numbers, shape: str) -> Numbers:
    """Length of a lip unfolded in its own plane.

    straight: c. frown, an arc: c x / sin x with x = 2 atan(2 f / c). chevron, two straight limbs: 2 sqrt(c^2/4 + f^2).

    Parameters: ``chord_mm`` c [mm] above 0, ``sagitta_mm`` f [mm] 0 to c/2 (a frown beyond a half circle is refused;
    it is not used for a straight lip), ``shape`` straight, frown or chevron. Result: length [mm]. Assumes that a
    curved lip unfolds wholly: an upper bound.

    >>> round(float(lip_length_mm(chord_mm=6.5, sagitta_mm=1.5, shape="frown")), 3)
    7.387
    >>> round(float(lip_length_mm(chord_mm=6.5, sagitta_mm=1.5, shape="chevron")), 3)
    7.159
    """
    if shape not in SHAPES:
        known = ", ".join(SHAPES)
        message = tr("{field} is {value}; allowed: {words}.", field="shape", value=shape, words=known)
        raise InvalidInput(message, field="shape", value=shape, allowed=known)
    require_positive(chord_mm=chord_mm)
    chord, sagitta = np.broadcast_arrays(np.asarray(chord_mm, dtype=float), np.asarray(sagitta_mm, dtype=float))
    if shape == "straight":
        return plain(np.array(chord))
    require(
        holds=~((sagitta < 0) | (sagitta > chord / 2)),
        field="sagitta_mm",
        value=sagitta,
        allowed=tr("0 to half the chord"),
    )
    if shape == "chevron":
        return plain(2 * np.hypot(chord / 2, sagitta))
    half_angle = 2 * np.arctan2(2 * sagitta, chord)
    return plain(chord / np.sinc(half_angle / np.pi))


def arc_deg(*, chord_mm: Numbers, distance_from_limbus_mm: Numbers, white_to_white_mm: Numbers) -> Numbers:
    """Angle that a cut takes up, seen from the centre of the cornea: 2 asin(c / 2 r), r = white-to-white / 2 + d.

    Parameters: ``chord_mm`` c between the ends [mm], ``distance_from_limbus_mm`` d [mm] 0 or more,
    ``white_to_white_mm`` [mm], above 0. Result: angle [degrees]. A chord longer than the circle is wide is refused.

    >>> round(float(arc_deg(chord_mm=6.5, distance_from_limbus_mm=2.0, white_to_white_mm=11.7)), 2)
    48.91
    """
    require_positive(chord_mm=chord_mm, white_to_white_mm=white_to_white_mm)
    require(
        holds=np.asarray(distance_from_limbus_mm) >= 0,
        field="distance_from_limbus_mm",
        value=distance_from_limbus_mm,
        allowed=tr("0 or more"),
    )
    across = np.asarray(white_to_white_mm) + 2 * np.asarray(distance_from_limbus_mm)
    require(
        holds=~(np.asarray(chord_mm) > across),
        field="chord_mm",
        value=chord_mm,
        allowed=tr("no more than the circle's width, {across:g} mm", across=float(np.min(across))),
    )
    return plain(2 * np.degrees(np.arcsin(np.asarray(chord_mm) / across)))
