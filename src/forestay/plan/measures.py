"""The sizes, places and devices that a technique would use in this eye, unless the surgeon has settled them.

Everything here is in the working frame (a right eye's). Numbers come from rows; the seat plays no part.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from forestay.eye.records import CaseFile
from forestay.frame import hour_distance, meridian_deg, temporal_hour, wrap_hour
from forestay.mechanics import capsulorhexis, tunnel
from forestay.plan.induced import expected_residual_d, induced_by
from forestay.plan.iris_hooks import circle_in_view_mm, hook_clocks
from forestay.plan.model import Measures
from forestay.plan.setting import Setting

SCLERAL = ("manual-small-incision",)
LARGE = ("extracapsular", "intracapsular")
STEPS_PER_MM = 10
"""Sizes are planned in tenths of a millimetre."""
BESIDE_TUNNEL_HOURS = 2
"""Hooks nearer than this to the tunnel, or at it, stand in the way of the nucleus."""


def tenth_up(value: float) -> float:
    """The next tenth of a millimetre, at or above ``value``."""
    return math.ceil(round(value * STEPS_PER_MM, 6)) / STEPS_PER_MM


def tenth_down(value: float) -> float:
    """The last tenth of a millimetre, at or below ``value``."""
    return math.floor(round(value * STEPS_PER_MM, 6)) / STEPS_PER_MM


def tolerated_stretch(setting: Setting) -> float:
    """How far the rim is planned to stretch: less where the fibres would pay before the rim."""
    return setting.use.number("size.stretch_weak" if setting.weak else "size.stretch_sound")


def can_tip(setting: Setting) -> bool:
    """Whether the chamber under OVD has the room in which this nucleus tips on its edge."""
    room = setting.estimates.room
    return room is not None and room.centre >= setting.estimates.needed_to_tip.centre


def capsulorhexis_mm(setting: Setting, technique: str) -> float | None:
    """The opening planned [mm]: what the nucleus needs, within what is usual; None where the lens comes out whole."""
    use = setting.use
    if technique == "intracapsular":
        return None
    if setting.decisions.capsulorhexis_mm is not None:
        return setting.decisions.capsulorhexis_mm
    if technique == "phacoemulsification":
        return use.number("size.rhexis_phaco_mm")
    if technique == "extracapsular":
        return use.number("size.rhexis_extracapsular_mm")
    estimates, stretch = setting.estimates, tolerated_stretch(setting)
    diameter, thickness = estimates.nucleus_diameter.centre, estimates.nucleus_thickness.centre
    if can_tip(setting):
        need = capsulorhexis.minimum_tipped_mm(
            nucleus_diameter_mm=diameter, nucleus_thickness_mm=thickness, tolerated_stretch=stretch
        )
    else:
        need = capsulorhexis.minimum_flat_mm(nucleus_diameter_mm=diameter, tolerated_stretch=stretch)
    low, high = use.number("size.rhexis_manual_low_mm"), use.number("size.rhexis_manual_high_mm")
    return min(max(tenth_up(float(need)), low), high)


def tunnel_clock(setting: Setting, technique: str) -> float:
    """Where the incision is centred: 12 unless astigmatism, a bleb or a gap speak for another place.

    Of the places that are free, the one with the least expected squared residual astigmatism, where the cornea has
    enough of it to matter; otherwise the first free place.
    """
    decided = setting.decisions.tunnel_clock
    if decided is not None:
        return decided
    free = free_places(setting, technique)
    b = setting.case.biometry
    if b.k1_d is None or b.k2_d is None or b.k1_axis_deg is None or b.k2_axis_deg is None:
        return free[0]
    if abs(b.k1_d - b.k2_d) < setting.use.number("act.steep_astigmatism_d"):
        return free[0]
    residual = {
        p: expected_residual_d(
            setting.case,
            induced_by(technique, clock=p, shape="frown", length_mm=None, use=setting.use, own=setting.own_incisions),
            meridian_deg(p),
        )
        for p in free
    }
    return min(free, key=lambda p: residual[p])


def free_places(setting: Setting, technique: str) -> list[float]:
    """Places where the incision may lie, the usual one first: away from a bleb and from a gap in the zonule."""
    temporal = temporal_hour("right")
    between = wrap_hour((temporal + 12.0) / 2)
    small = technique == "phacoemulsification"
    places: Sequence[float] = (temporal, between, 12.0) if small else (12.0, between, temporal)
    if technique in LARGE:
        places = (12.0,)
    if setting.case.signs.filtering_bleb:
        places = [p for p in places if p == temporal] or [temporal]
    gaps = setting.estimates.gap_hours
    return [p for p in places if all(hour_distance(p, gap) > 1 for gap in gaps)] or list(places)


def tunnel_sizes(setting: Setting, technique: str, shape: str) -> tuple[float, float, float, float]:
    """Outer chord, inner lip, sagitta, distance behind the limbus [mm]."""
    use, decided = setting.use, setting.decisions.tunnel_chord_mm
    if technique == "phacoemulsification":
        chord = decided if decided is not None else use.number("size.tunnel_phaco_mm")
        return chord, chord, 0.0, 0.0
    if technique in LARGE:
        name = "size.wound_extracapsular_mm" if technique == "extracapsular" else "size.wound_intracapsular_mm"
        chord = decided if decided is not None else use.number(name)
        return chord, chord, 0.0, 0.0
    sagitta = 0.0 if shape == "straight" else use.number("tunnel.sagitta_mm")
    chord = decided if decided is not None else _chord_for_nucleus(setting, shape, sagitta)
    return chord, chord + use.number("tunnel.inner_lip_extra_mm"), sagitta, use.number("size.tunnel_distance_mm")


def _chord_for_nucleus(setting: Setting, shape: str, sagitta_mm: float) -> float:
    use, estimates = setting.use, setting.estimates
    needed = float(
        tunnel.needed_lip_mm(
            nucleus_diameter_mm=estimates.nucleus_diameter.centre,
            nucleus_thickness_mm=estimates.nucleus_thickness.centre,
            instrument_thickness_mm=use.number("tunnel.instrument_thickness_mm"),
            tissue_give=use.number("tunnel.tissue_give"),
        )
    )
    low, high = use.number("size.tunnel_low_mm"), use.number("size.tunnel_high_mm")
    chord = low
    while chord < high and float(tunnel.lip_length_mm(chord_mm=chord, sagitta_mm=sagitta_mm, shape=shape)) < needed:
        chord = round(chord + 1 / STEPS_PER_MM, 1)
    return min(chord, high)


def pupil_is_short(setting: Setting, measures: Measures) -> bool | None:
    """Whether the pupil without hooks is smaller than the opening with its clearance; None where it is not known."""
    now, opening = setting.estimates.pupil, measures.capsulorhexis_mm
    if now is None or opening is None:
        return None
    return now.centre < opening + setting.use.number("size.rhexis_clearance_mm")


def iris_hooks(
    setting: Setting, technique: str, opening_mm: float | None, tunnel_at: float
) -> tuple[int, float | None]:
    """How many iris hooks and how far they reach [mm]: what is planned unasked, unless the surgeon has settled it."""
    decided, wished = setting.decisions.pupil_hooks, setting.decisions.hook_reach_mm
    count, reach = own_iris_hooks(setting, technique, opening_mm, tunnel_at, wished)
    if decided is None:
        return count, reach
    return decided, ((wished or reach or setting.use.number("size.hook_reach_mm")) if decided else None)


def own_iris_hooks(
    setting: Setting, technique: str, opening_mm: float | None, tunnel_at: float, wished_mm: float | None = None
) -> tuple[int, float | None]:
    """The fewest iris hooks, least drawn, that show the opening all round, and their reach [mm].

    Where none do, the most that are usual, as far as is worth a stab: a circle that is not wider than the pupil by more
    than that is no reason to place them, nor is a pupil short by less. The margin says what stays short. After an
    alpha-blocker the fewest guard a wide pupil, just taut at its edge, before it comes down.
    """
    use, now = setting.use, setting.estimates.pupil
    if opening_mm is None or now is None or technique in LARGE or setting.lacks_kit("iris-hooks"):
        return 0, None
    usual = use.number("size.hook_reach_mm") if wished_mm is None else wished_mm
    farthest = use.number("size.hook_reach_high_mm") if wished_mm is None else wished_mm
    wanted, worth = opening_mm + use.number("size.rhexis_clearance_mm"), use.number("size.hooks_worth_mm")
    least, most = int(use.number("size.hooks_least")), int(use.number("size.hooks_usual_most"))
    if wanted - now.centre >= worth:
        tenths = range(round(usual * STEPS_PER_MM) + 1, round(farthest * STEPS_PER_MM) + 1)
        tries = [(count, usual) for count in range(least, most + 1)]
        tries += [(most, tenth / STEPS_PER_MM) for tenth in tenths]
        for count, reach in tries:
            if (circle_in_view_mm(setting, count, reach, tunnel_at) or 0.0) >= wanted:
                return count, reach
        for reach in (usual, farthest):
            gained = (circle_in_view_mm(setting, most, reach, tunnel_at) or 0.0) - now.centre
            if gained >= worth or wished_mm is not None:
                return most, reach
    if setting.case.signs.alpha_blocker:
        return least, min(usual, tenth_down(now.centre / 2)) if wished_mm is None else wished_mm
    return 0, None


def under_pressure(case: CaseFile) -> bool:
    """Whether the lens may press on its capsule, so that an edge out of sight may run to the equator."""
    return case.lens.appearance in ("white", "intumescent")


def inside_view_mm(setting: Setting, technique: str, opening_mm: float | None, tunnel_at: float) -> float | None:
    """The opening [mm], no wider than is seen all round where the capsule is under pressure and nobody has settled it.

    What is seen: on the hooks planned unasked, or on fewer; more hooks show more of the same opening. Never under the
    smallest through which the technique works: what stays hidden of that, the margin says.
    """
    use = setting.use
    if opening_mm is None or technique in LARGE or not under_pressure(setting.case):
        return opening_mm
    hooks = (f(setting, technique, opening_mm, tunnel_at) for f in (own_iris_hooks, iris_hooks))
    views = [v for v in (circle_in_view_mm(setting, *h, tunnel_at) for h in hooks) if v is not None]
    if not views or setting.decisions.capsulorhexis_mm is not None:
        return opening_mm
    seen = tenth_down(min(views) - use.number("size.rhexis_clearance_mm"))
    least = use.number("size.rhexis_manual_low_mm" if technique in SCLERAL else "size.rhexis_phaco_low_mm")
    return min(opening_mm, max(seen, least))


def ring_timing(setting: Setting, technique: str) -> str:
    """Whether a plain ring goes in, and when: after the nucleus, since before it the ring follows the nucleus."""
    use = setting.use
    if technique in LARGE or setting.now.bars_ring(setting.gap_hours):
        return "none"
    if setting.decisions.ring is not None:
        return setting.decisions.ring
    if setting.lacks_kit("tension-ring"):
        return "none"
    gap = setting.gap_hours
    if gap > use.number("act.bag_lost_hours"):
        return "none"
    moves = setting.case.signs.phacodonesis in ("after-movement", "at-rest")
    return "after-nucleus" if gap > use.number("act.ring_needed_hours") or moves else "none"


def ring_gap_clock(setting: Setting, ring: str) -> float | None:
    """Where the opening of the ring is planned to lie: across from the gap in the zonule, else at 12.

    Across, the ends push where fibres are left to bear it and the arc spans the gap: of all places the most stretched
    fibre is then asked for least, at rest and under every pull that no hook helps to bear (a test holds it). The bag lies
    nearest its middle with the opening in the gap itself; which of the two counts more the plan cannot know, so it says
    both.
    """
    if ring == "none":
        return None
    if setting.decisions.ring_gap_clock is not None:
        return setting.decisions.ring_gap_clock
    gaps = setting.estimates.gap_hours
    if not gaps:
        return 12.0
    first, last = _ends(gaps)
    return wrap_hour(first + (last - first) % 12 / 2 + 6)


def capsule_hooks(
    setting: Setting, technique: str, tunnel_at: float, iris_at: Sequence[float] = ()
) -> tuple[float, ...]:
    """Clock hours of capsule hooks: at the ends and in the middle of a gap, or all round where all is weak.

    At a gap, one that would share its stab with an iris hook moves on by half an hour.
    """
    if technique in LARGE or not setting.weak or setting.lacks_kit("capsule-hooks") or setting.now.bars_rim_hooks:
        return ()
    gaps = setting.estimates.gap_hours
    if not gaps:
        return hooks_all_round(technique, tunnel_at, iris_at)
    first, last = _ends(gaps)
    span = (last - first) % 12
    wanted = [wrap_hour(first + offset) for offset in (-0.5, span / 2, span + 0.5)]
    return tuple(wrap_hour(c + 0.5) if any(hour_distance(c, i) == 0 for i in iris_at) else c for c in wanted)


def hooks_all_round(technique: str, tunnel_at: float, iris_at: Sequence[float] = ()) -> tuple[float, ...]:
    """Two pairs of capsule hooks, even to either side of the tunnel, as evenly round the clock as stabs allow.

    None beside a wide tunnel, and none within an hour of an iris hook where that can be had: between two of them.

    >>> hooks_all_round("phacoemulsification", 12.0)
    (1.5, 4.5, 7.5, 10.5)
    >>> hooks_all_round("manual-small-incision", 12.0, (1.0, 3.5, 6.0, 8.5, 11.0))
    (2.0, 4.5, 7.5, 10.0)
    """
    near = 12 / 4 / 2  # four, as evenly as can be, with the tunnel midway between two
    far = 3 * near
    least = BESIDE_TUNNEL_HOURS if technique in SCLERAL else near
    half_hours = [i / 2 for i in range(12)]

    def crowded(pair: tuple[float, float]) -> tuple[int, float]:
        stabs = [tunnel_at + side * offset for offset in pair for side in (1, -1)]
        near_iris = sum(hour_distance(stab, hook) < 1 for stab in stabs for hook in iris_at)
        return near_iris, abs(pair[0] - near) + abs(pair[1] - far)

    pairs = [(a, b) for a in half_hours for b in half_hours if a >= least and b - a >= near]
    a, b = min(pairs, key=crowded)
    return tuple(sorted(wrap_hour(tunnel_at + offset) for offset in (a, b, -b, -a)))


def _ends(hours: Sequence[float]) -> tuple[float, float]:
    """First and last hour of a gap, going round the clock from its widest break."""
    ordered = sorted(h % 12 for h in hours)
    breaks = [(ordered[(i + 1) % len(ordered)] - h) % 12 or 12.0 for i, h in enumerate(ordered)]
    widest = max(range(len(ordered)), key=lambda i: breaks[i])
    return wrap_hour(ordered[(widest + 1) % len(ordered)]), wrap_hour(ordered[widest])


def lens_position(setting: Setting, technique: str, ring: str) -> str:
    """Where the lens is planned to lie, by what is left to hold it."""
    use, gap = setting.use, setting.gap_hours
    if setting.now.no_lens:
        return "aphakia"
    if technique == "intracapsular" or gap > use.number("act.bag_lost_hours"):
        return "anterior-chamber" if anterior_chamber_allowed(setting) else "aphakia"
    if setting.now.bag_lost(gap) and setting.lacks_kit("three-piece-lens"):
        return "anterior-chamber" if anterior_chamber_allowed(setting) else "aphakia"
    if setting.now.bag_lost(gap):
        return "sulcus" if 12 - gap >= use.number("act.sulcus_support_hours") else "scleral"
    if gap <= use.number("act.ring_needed_hours") or ring != "none" or not setting.lacks_kit("ring-segment"):
        return "bag"
    return "sulcus" if 12 - gap >= use.number("act.sulcus_support_hours") else "scleral"


def anterior_chamber_allowed(setting: Setting) -> bool:
    """Whether a lens may stand before the iris: deep chamber, enough cells, angle and endothelium known to be sound,

    and one is at hand. What was not looked for is not taken as sound.
    """
    case, use = setting.case, setting.use
    count, depth = case.biometry.endothelial_count_per_mm2, case.biometry.chamber_depth_mm
    return (
        not setting.lacks_kit("anterior-chamber-lens")
        and count is not None
        and count >= use.number("act.count_caution_per_mm2")
        and depth is not None
        and depth >= use.number("act.shallow_chamber_mm")
        and case.signs.glaucoma is False
        and case.signs.guttae is False
        and case.signs.trauma is False
    )


def measures_for(setting: Setting, technique: str, anaesthetic: str | None) -> Measures:
    """All measures of ``technique`` in this eye."""
    shape = setting.decisions.tunnel_shape or ("frown" if technique in SCLERAL else "straight")
    clock = tunnel_clock(setting, technique)
    outer, inner, sagitta, distance = tunnel_sizes(setting, technique, shape)
    opening = capsulorhexis_mm(setting, technique)
    count, reach = iris_hooks(setting, technique, opening, clock)
    opening = inside_view_mm(setting, technique, opening, clock)
    iris_at = hook_clocks(count, clock, wide=technique in SCLERAL)
    on_rim = capsule_hooks(setting, technique, clock, iris_at)
    if on_rim and not setting.estimates.gap_hours:  # all round: between those hooks they would not find their places
        iris_at = hook_clocks(count, clock)
        on_rim = capsule_hooks(setting, technique, clock, iris_at)
    ring = ring_timing(setting, technique)
    case = setting.case
    hidden = (
        case.lens.appearance in ("brown", "black", "white", "intumescent", "hypermature")
        or case.signs.fundus_view is False
        or bool(case.signs.corneal_opacity)
    )
    return Measures(
        technique=technique,
        anaesthetic=anaesthetic,
        pupil_hooks=count,
        hook_clocks=iris_at,
        hook_reach_mm=reach,
        capsulorhexis_mm=opening,
        capsule_hook_clocks=on_rim,
        ring=ring,
        relaxing_cuts=0,
        tunnel_clock=clock,
        tunnel_shape=shape,
        tunnel_outer_mm=outer,
        tunnel_inner_mm=inner,
        tunnel_sagitta_mm=sagitta,
        tunnel_distance_mm=distance,
        sutured=technique in LARGE,
        lens_position=lens_position(setting, technique, ring),
        dye=technique != "intracapsular" and hidden,
        ring_gap_clock=ring_gap_clock(setting, ring),
    )
