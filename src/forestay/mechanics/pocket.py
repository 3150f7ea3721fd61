"""The nucleus held in the tunnel between a loop and a second instrument, and the two lips that it has to pass.

A slit of lip length w with both lips stretched by s opens to a girth of 2 w s. The girth of what passes is the
shortest line round the nucleus and its instruments: the hull of an ellipse D x T, of the two limbs of a loop under it
and of a bar on top of it. Side pockets widen the inner lip only; the outer lip stays as it was cut.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from forestay.mechanics.geometry import Floats, Numbers, plain, require, require_positive
from forestay.mechanics.tunnel import lip_length_mm
from forestay.text import tr

DIRECTION_STEPS = 720
"""Directions of half a turn in which the hull's width is taken; its girth is then right to a few micrometres."""
CHUNK_LIMIT = 200_000
"""Widths worked on at a time, so that they stay in fast memory."""
CHORD_STEPS = 60
"""Halvings when the chord of a frown is found from its length."""


@dataclass(frozen=True)
class PocketConstants:
    """Instruments that hold a nucleus, from the evidence."""

    PREFIX: ClassVar[str] = "pocket"
    limb_thickness_mm: float
    limb_half_span_mm: float
    bar_thickness_mm: float


@dataclass(frozen=True)
class Lips:
    """What there is at both ends of the tunnel, and what is missing there; each a number, or draws."""

    outer_mm: Numbers
    """Outer lip unfolded in its plane."""
    inner_mm: Numbers
    """Inner lip between the ends of its pockets."""
    needed_mm: Numbers
    """Lip that nucleus and instruments need at the stated give."""
    margin_outer_mm: Numbers
    margin_inner_mm: Numbers
    margin_mm: Numbers
    """The smaller of both margins: both lips must be passed."""


def held_girth_mm(
    *,
    nucleus_diameter_mm: Numbers,
    nucleus_thickness_mm: Numbers,
    limb_thickness_mm: Numbers,
    limb_half_span_mm: Numbers,
    bar_thickness_mm: Numbers,
) -> Numbers:
    """Shortest line round a nucleus on a loop, with a bar on top: the mean width of the hull times pi.

    The limbs are round wires that touch the nucleus from below at x = +-``limb_half_span_mm``, the bar a round wire that
    touches its top. P = integral over all directions of h, h the larger of the ellipse's and the wires' distances.

    Parameters: ``nucleus_diameter_mm`` D, ``nucleus_thickness_mm`` T [mm] above 0; ``limb_thickness_mm`` [mm], 0 for no
    loop; ``limb_half_span_mm`` half the width of the loop [mm], less than D / 2; ``bar_thickness_mm`` [mm], 0 for no
    second instrument. Result: girth [mm], to 0.001. Range: an instrument that neither bends nor sinks in.

    >>> whole = {"nucleus_diameter_mm": 7.13, "nucleus_thickness_mm": 3.05, "limb_half_span_mm": 2.5}
    >>> round(held_girth_mm(**whole, limb_thickness_mm=0.3, bar_thickness_mm=0.5), 2)
    17.19
    """
    require_positive(nucleus_diameter_mm=nucleus_diameter_mm, nucleus_thickness_mm=nucleus_thickness_mm)
    for name, size in (("limb_thickness_mm", limb_thickness_mm), ("bar_thickness_mm", bar_thickness_mm)):
        require(holds=np.asarray(size) >= 0, field=name, value=size, allowed=tr("0 or more"))
    span = np.asarray(limb_half_span_mm, dtype=np.float64)
    require(
        holds=(span >= 0) & ~(span >= np.asarray(nucleus_diameter_mm) / 2),
        field="limb_half_span_mm",
        value=span,
        allowed=tr("0 to less than half the nucleus's diameter"),
    )
    a, c, limb, side, bar = np.broadcast_arrays(
        np.asarray(nucleus_diameter_mm, dtype=np.float64) / 2,
        np.asarray(nucleus_thickness_mm, dtype=np.float64) / 2,
        np.asarray(limb_thickness_mm, dtype=np.float64) / 2,
        span,
        np.asarray(bar_thickness_mm, dtype=np.float64) / 2,
    )
    below = -c * np.sqrt(1 - (side / a) ** 2)
    slope_x, slope_y = side / a**2, below / c**2
    length = np.hypot(slope_x, slope_y)
    limb_x, limb_y = side + limb * slope_x / length, below + limb * slope_y / length
    total = np.zeros(a.shape)
    angles = (np.arange(DIRECTION_STEPS) + 0.5) * (np.pi / DIRECTION_STEPS) - np.pi / 2
    part = max(1, CHUNK_LIMIT // max(1, a.size))
    for start in range(0, DIRECTION_STEPS, part):  # the right half: the left is its mirror image
        angle = angles[start : start + part].reshape(-1, *(1,) * a.ndim)
        x, y = np.cos(angle), np.sin(angle)
        far: Floats = np.hypot(a * x, c * y)
        far = np.maximum(far, np.where(limb > 0, x * limb_x + y * limb_y + limb, 0))
        far = np.maximum(far, np.where(bar > 0, y * (c + bar) + bar, 0))
        total = total + far.sum(axis=0)
    return plain(total * (2 * np.pi / DIRECTION_STEPS))


def needed_lip_held_mm(
    *,
    nucleus_diameter_mm: Numbers,
    nucleus_thickness_mm: Numbers,
    constants: PocketConstants,
    with_loop: bool,
    with_bar: bool,
    tissue_give: Numbers,
) -> Numbers:
    """Lip length through which the held nucleus passes: girth / (2 s).

    Parameters: ``nucleus_diameter_mm``, ``nucleus_thickness_mm`` [mm] above 0; ``constants``, the instruments' sizes;
    ``with_loop``, ``with_bar``; ``tissue_give`` s [-] 1 or more. Result: [mm], for inner and outer lip alike. A loop
    wider than the nucleus is taken as just inside its edge.

    >>> tools = PocketConstants(limb_thickness_mm=0.3, limb_half_span_mm=2.5, bar_thickness_mm=0.5)
    >>> round(needed_lip_held_mm(nucleus_diameter_mm=7.13, nucleus_thickness_mm=3.05, constants=tools, with_loop=True,
    ...                          with_bar=True, tissue_give=1.0), 2)
    8.6
    """
    require(holds=np.asarray(tissue_give) >= 1, field="tissue_give", value=tissue_give, allowed=tr("1 or more"))
    require_positive(nucleus_diameter_mm=nucleus_diameter_mm)
    widest = np.asarray(nucleus_diameter_mm) / 2 - constants.limb_thickness_mm / 2
    girth = held_girth_mm(
        nucleus_diameter_mm=nucleus_diameter_mm,
        nucleus_thickness_mm=nucleus_thickness_mm,
        limb_thickness_mm=constants.limb_thickness_mm if with_loop else 0.0,
        limb_half_span_mm=plain(np.minimum(constants.limb_half_span_mm, np.maximum(widest, 0))),
        bar_thickness_mm=constants.bar_thickness_mm if with_bar else 0.0,
    )
    return plain(np.asarray(girth) / (2 * np.asarray(tissue_give)))


def lips(
    *,
    outer_chord_mm: Numbers,
    sagitta_mm: Numbers,
    shape: str,
    pocket_each_side_mm: Numbers,
    needed_mm: Numbers,
) -> Lips:
    """Both lips of a tunnel against what has to pass them.

    outer: unfolded length of its shape (:func:`forestay.mechanics.tunnel.lip_length_mm`). inner: chord + 2 pocket.

    Parameters: ``outer_chord_mm`` [mm] above 0, ``sagitta_mm`` [mm], ``shape`` straight, frown or chevron,
    ``pocket_each_side_mm`` [mm], how much farther the inner lip reaches on each side, 0 or more, ``needed_mm`` [mm].
    Result: :class:`Lips`. A pocket never lengthens the outer lip.

    >>> cut = lips(outer_chord_mm=6.5, sagitta_mm=1.5, shape="frown", pocket_each_side_mm=1.0, needed_mm=7.81)
    >>> [round(v, 2) for v in (cut.outer_mm, cut.inner_mm, cut.margin_mm)]
    [7.39, 8.5, -0.42]
    """
    pocket = np.asarray(pocket_each_side_mm, dtype=np.float64)
    require(holds=pocket >= 0, field="pocket_each_side_mm", value=pocket, allowed=tr("0 or more"))
    outer = np.asarray(lip_length_mm(chord_mm=outer_chord_mm, sagitta_mm=sagitta_mm, shape=shape))
    inner = np.asarray(outer_chord_mm) + 2 * pocket
    needed = np.asarray(needed_mm, dtype=np.float64)
    return Lips(
        outer_mm=plain(outer),
        inner_mm=plain(inner),
        needed_mm=plain(needed),
        margin_outer_mm=plain(outer - needed),
        margin_inner_mm=plain(inner - needed),
        margin_mm=plain(np.minimum(outer, inner) - needed),
    )


def chord_for_lip_mm(*, wanted_mm: Numbers, sagitta_mm: Numbers, shape: str) -> Numbers:
    """The shortest chord whose lip, unfolded, has the length wanted: the inverse of the lip's length.

    Parameters: ``wanted_mm`` [mm] above 0, ``sagitta_mm`` f [mm] 0 or more, ``shape``. Result: chord [mm], never less
    than 2 f: no lip is deeper than a half circle or a right-angled chevron.

    >>> round(chord_for_lip_mm(wanted_mm=7.387, sagitta_mm=1.5, shape="frown"), 2)
    6.5
    """
    require_positive(wanted_mm=wanted_mm)
    require(holds=np.asarray(sagitta_mm) >= 0, field="sagitta_mm", value=sagitta_mm, allowed=tr("0 or more"))
    wanted, sagitta = np.broadcast_arrays(
        np.asarray(wanted_mm, dtype=np.float64), np.asarray(sagitta_mm, dtype=np.float64)
    )
    low = np.zeros_like(wanted) if shape == "straight" else 2 * sagitta
    high = np.maximum(wanted, low)
    for _ in range(CHORD_STEPS):
        middle = (low + high) / 2
        safe = np.where(middle > 0, middle, wanted)
        short = np.asarray(lip_length_mm(chord_mm=safe, sagitta_mm=np.minimum(sagitta, safe / 2), shape=shape)) < wanted
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return plain(np.where(np.isnan(wanted + sagitta), np.nan, high))
