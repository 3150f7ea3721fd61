"""Invented plans for tests of faces: complete, plausible in form, worth nothing clinically.

Every number here is made up for layout and plumbing. Nothing in it is a result of this project's engines, and no test
may compare an engine with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from forestay.answer import Doubt
from forestay.frame import Side, mirror_axis, mirror_by_hour, mirror_hour
from forestay.plan.model import (
    After,
    Astigmatism,
    Check,
    Chosen,
    Cue,
    Decision,
    Dose,
    Drawing,
    Estimate,
    Fallback,
    First,
    KitItem,
    LensPlan,
    LensPosition,
    Margin,
    Measures,
    Option,
    Origin,
    Plan,
    Risk,
    Step,
    Stop,
    Unassessed,
    Visit,
    Widen,
)

CAUTION = (
    "Decision support for trained surgeons, not a medical device. Check every value against the record and the lens "
    "box. Local protocols and licensed judgement decide."
)
SOURCE = {"key": "invented", "citation": "Invented for tests", "standing": "assumed", "rows": ["invented.row"]}


def origin(*, weak: bool = False, calculation: str | None = None) -> Origin:
    """What stands behind an invented number."""
    return Origin(
        formula="has − needs",
        inputs=(("nucleus diameter", "7.5 mm"), ("opening", "5.2 mm")),
        valid="invented eyes",
        sources=(SOURCE,),
        calculation=calculation,
        weak=weak,
    )


def margin(key: str = "pupil", *, needs: float = 5.7, has: float = 4.7, spread: float = 0.7, **changes: Any) -> Margin:
    """An absolute margin; any field may be changed."""
    value = round(has - needs, 6)
    built = Margin(
        key=key,
        step=key.replace("-", " ").capitalize(),
        needs=needs,
        has=has,
        unit="mm",
        margin=value,
        low=round(value - spread, 6),
        high=round(value + spread, 6),
        scale="absolute",
        probability=0.11 if value < 0 else 0.86,
        rests_on=("dilated pupil", "hook reach"),
        widen=Widen("a fifth hook under the tunnel", 0.3, "pupil_hooks", 5),
        says=f"needs {needs:g} mm in view · 4 hooks give {has:g}",
        origin=origin(weak=key == "chamber"),
    )
    return replace(built, **changes)


def zonule_margin(key: str, value: float) -> Margin:
    """A comparative margin: it ranks and carries no chance."""
    return Margin(
        key=f"zonule-{key.replace(' ', '-')}",
        step=key,
        needs=1.0,
        has=1.0 + value,
        unit="× healthy",
        margin=value,
        low=value,
        high=value,
        scale="comparative",
        probability=None,
        rests_on=("zonular support",),
        widen=Widen("capsule hooks at 5 and 8", 0.4),
        says=f"peak load at {key}, against a healthy eye",
        origin=origin(weak=True),
        group="zonule",
    )


def example_margins() -> tuple[Margin, ...]:
    """Six absolute margins and six comparative ones, short and long."""
    return (
        margin("pupil", needs=5.7, has=4.7),
        margin(
            "capsulorhexis",
            needs=5.6,
            has=5.2,
            says="nucleus needs 5.6 mm tipped · 5.2 planned",
            widen=Widen("5.8 mm opening", 0.6, "capsulorhexis_mm", 5.8),
            probability=0.14,
        ),
        margin(
            "chamber",
            needs=3.7,
            has=3.1,
            says="needs 3.7 mm to tip · 2.2 + 0.9 with OVD",
            widen=Widen("deliver flat through a larger opening", 0.5),
            probability=0.08,
        ),
        margin("tunnel", needs=8.3, has=8.5, says="needs 8.3 mm · inner lip 8.5", probability=0.75, widen=None),
        margin(
            "cornea",
            needs=1000,
            has=1530,
            spread=300,
            unit="cells/mm²",
            says="must keep 1,000 cells/mm² · 1,530 after",
            widen=Widen("shell of dispersive OVD", 120),
            probability=0.95,
        ),
        margin(
            "refraction",
            needs=0.71,
            has=0.5,
            spread=0.3,
            unit="D",
            says="tolerance 0.5 D · expected error 0.71",
            widen=Widen("repeat the length by immersion", 0.2),
            probability=0.5,
        ),
        zonule_margin("first puncture", 0.8),
        zonule_margin("rotation", 0.3),
        zonule_margin("pole lift", -0.2),
        zonule_margin("whole nucleus", -0.6),
        zonule_margin("cortex", 0.0),
        zonule_margin("lens in", 0.5),
    )


def example_measures(*, side: Side = "right", **changes: Any) -> Measures:
    """Measures of a manual small incision with four hooks; clock hours mirrored for a left eye."""
    turn = (lambda h: h) if side == "right" else mirror_hour
    built = Measures(
        technique="manual-small-incision",
        anaesthetic="peribulbar",
        pupil_hooks=4,
        hook_clocks=tuple(turn(h) for h in (1.5, 4.5, 7.5, 10.5)),
        hook_reach_mm=3.3,
        capsulorhexis_mm=5.2,
        capsule_hook_clocks=tuple(turn(h) for h in (5.0, 8.0)),
        ring="after-nucleus",
        relaxing_cuts=0,
        tunnel_clock=turn(12.0),
        tunnel_shape="frown",
        tunnel_outer_mm=7.0,
        tunnel_inner_mm=8.5,
        tunnel_sagitta_mm=1.5,
        tunnel_distance_mm=1.5,
        sutured=False,
        lens_position="bag",
        dye=True,
    )
    return replace(built, **changes)


def example_drawing(*, side: Side = "right", seat: str = "superior", **changes: Any) -> Drawing:
    """Sizes and loads of an eye with a gap at 6 and 7 (in a left eye: 5 and 6)."""
    by_hour = (lambda v: v) if side == "right" else mirror_by_hour
    turn = (lambda h: h) if side == "right" else mirror_hour
    built = Drawing(
        side=side,
        seat=seat,
        white_to_white_mm=11.6,
        pupil_mm=3.8,
        nucleus_diameter_mm=7.5,
        nucleus_thickness_mm=3.3,
        bag_diameter_mm=10.0,
        lens_thickness_mm=4.9,
        chamber_depth_mm=2.75,
        corneal_thickness_um=540.0,
        chamber_room_mm=2.2,
        ovd_gain_mm=0.9,
        opening_circle_mm=4.67,
        zonule=by_hour((0.9, 0.9, 0.9, 0.8, 0.7, 0.5, 0.0, 0.0, 0.4, 0.7, 0.8, 0.9)),
        load=by_hour((1.0, 1.0, 1.0, 1.1, 1.3, 1.9, 0.0, 0.0, 2.1, 1.4, 1.1, 1.0)),
        gaps=tuple(sorted(turn(h) for h in (6.0, 7.0))),
        displacement_mm=0.15,
        displacement_clock=turn(0.5),
    )
    return replace(built, **changes)


def _positions() -> tuple[LensPosition, ...]:
    rows: Sequence[tuple[str, str, float | None, bool, str]] = (
        ("bag", "in the bag", 21.37, True, "first choice while the bag holds"),
        ("sulcus", "in the sulcus", 20.52, True, "three-piece only; capsule rim all round"),
        ("optic-capture", "sulcus, optic captured", 21.30, True, "round capsulorhexis smaller than the optic"),
        ("scleral", "fixed to the sclera", 20.90, False, "no kit here"),
        ("anterior-chamber", "in the chamber", 17.80, True, "chamber deep enough; iridectomy"),
        ("aphakia", "no lens", None, True, "lens later"),
    )
    return tuple(
        LensPosition(
            position=name,
            label=label,
            power_d=power,
            choices=()
            if power is None
            else tuple(
                {"power_d": round(power * 2) / 2 + step, "refraction_d": round(-0.5 - 0.7 * step, 2)}
                for step in (-0.5, 0.0, 0.5)
            ),
            sd_d=None if power is None else 0.55,
            low_d=None if power is None else power - 0.9,
            high_d=None if power is None else power + 0.9,
            note=note,
            allowed=allowed,
            origin=origin(),
        )
        for name, label, power, allowed, note in rows
    )


def _steps() -> tuple[Step, ...]:
    names = (
        ("check", "Check side and lens", "Read side, name and lens aloud with the record in hand."),
        ("anaesthesia", "Anaesthesia", "Peribulbar block; press gently, no long compression."),
        ("hooks", "Hooks", "Four hooks at 1:30, 4:30, 7:30, 10:30; stretch slowly."),
        ("capsulorhexis", "Capsulorhexis", "Open 5.8 mm, tangential pull, chamber full."),
        ("hydrodissection", "Hydrodissection", "Small waves, press back between them."),
        ("tunnel", "Tunnel", "Frown, 7.0 mm chord, 1.5 mm behind the limbus, inner lip 8.5 mm."),
        ("nucleus", "Nucleus", "Tip one pole, OVD behind it, bring it out with a loop."),
        ("cortex", "Cortex", "Strip along the rim, towards the gap, never away from it."),
        ("ring", "Tension ring", "Ring after the nucleus; leading eyelet towards the gap."),
        ("lens", "Lens", "Three-piece in the bag, haptics across the gap."),
        ("close", "Close", "OVD out from behind the lens; test the lip; no suture if tight."),
    )
    return tuple(
        Step(
            key=key,
            name=name,
            do=do,
            kit=("OVD",),
            who="surgeon",
            cues=(
                Cue("lens travels", "weak zonule", "capsule hooks as soon as there is an edge"),
                Cue("radial folds", "weak zonule", "more OVD, a second tool"),
            ),
            sources=("invented",),
        )
        for key, name, do in names
    )


def _kit() -> dict[str, Any]:
    items = (
        KitItem("iris hooks, 5", "pupil 3.8 mm", False),
        KitItem("capsule hooks, 4", "gap at 6 and 7", False),
        KitItem("tension ring", "two hours lost", False),
        KitItem("vitrector, set up and tested", "gap seen", True),
        KitItem("trypan blue", "no red reflex", None),
        KitItem("three-piece lens", "bag or sulcus", False),
    )
    return {"items": list(items), "missing": [k.item for k in items if k.missing]}


def _fallbacks() -> tuple[Fallback, ...]:
    rows = (
        ("Pupil comes down", "edge slips from a hook", ("refill OVD", "fifth hook under the tunnel")),
        ("Capsulorhexis runs out", "edge under the iris", ("stop, refill", "pull back along its path")),
        ("Nucleus does not pass", "lip stretches white", ("do not force", "widen the inner lip", "tip it again")),
        ("Bag follows the cortex", "fold at 6", ("stop suction", "strip towards the gap", "ring now")),
        ("Vitreous in the chamber", "pupil peaks", ("stop, keep the bottle low", "stain, cut dry")),
        ("Nucleus sinks", "pole drops behind", ("do not chase", "clear the front", "send on the same day")),
    )
    return tuple(Fallback(event, signs, do, ("invented",)) for event, signs, do in rows)


def _option(technique: str, label: str, rank: int, measures: Measures | None) -> Option:
    return Option(
        technique=technique,
        label=label,
        measures=measures,
        margins=example_margins() if measures else (),
        risks=(Risk("rupture", "capsule tear or vitreous loss", 0.062, 0.035, 0.105, origin()),),
        rank=rank,
        why=("hard brown nucleus", "count 2,150"),
        available=measures is not None,
        unassessed=(Unassessed("cornea", ("endothelial_count_per_mm2",)),) if rank == 2 else (),
    )


def example_plan(side: Side = "right", seat: str = "superior", **changes: Any) -> Plan:
    """A whole invented plan. ``changes`` replace top-level fields (``margins=…``, ``steps=…``, ``measures=…``)."""
    measures = example_measures(side=side)
    axis = (lambda a: a) if side == "right" else mirror_axis
    built = Plan(
        decision=Decision(
            decision="operate-later",
            why="The length was measured by contact and is 0.7 mm shorter than the other eye.",
            first=(
                First("repeat the length by immersion", "0.7 mm shorter than the fellow eye", "length-differs"),
                First("have a vitrector set up", "gap seen at 6 and 7", "gap"),
            ),
            sentence="Operate here, after repeating the length by immersion: it is 0.7 mm shorter than the fellow eye.",
        ),
        eye={"side": side, "person": {"age_years": 71.0, "sex": "female"}},
        checks=(Check("biometry.axial_length_mm", 22.4, "recheck", "0.7 mm shorter than the other eye", "invented"),),
        estimates=(
            Estimate("nucleus_diameter", "nucleus diameter", 7.5, 6.9, 8.1, "mm", origin(weak=True)),
            Estimate("bag_diameter", "bag diameter", 10.0, 9.6, 10.4, "mm", origin()),
            Estimate("support", "zonular support", 0.63, 0.41, 0.82, "of healthy", origin(weak=True)),
        ),
        options=(
            _option("manual-small-incision", "manual small incision", 1, measures),
            _option(
                "phacoemulsification", "phacoemulsification", 2, replace(measures, technique="phacoemulsification")
            ),
            _option("refer", "refer", 3, None),
        ),
        chosen=Chosen(
            "manual-small-incision",
            False,
            ("a grade 4 nucleus passes whole, with less ultrasound near a count of 2,150",),
            "phacoemulsification",
        ),
        margins=example_margins(),
        unassessed=(Unassessed("retina", ("posterior_segment_scan",)),),
        lens=LensPlan("T2", 22.4, 0.18, -0.5, _positions(), ("aim −0.50 D", "constant belongs to optical length")),
        astigmatism=Astigmatism(
            1.25, axis(5.0), 0.6, 0.35, 0.9, axis(8.0), "0.6 D against the rule from the tunnel", origin()
        ),
        steps=_steps(),
        kit=_kit(),
        doses=(
            Dose(
                "adrenaline",
                "pupil",
                "0.5 ml of 1 mg/ml in 500 ml",
                "0.001 mg/ml in the bottle",
                "free of preservative",
                ("invented",),
                "memory",
            ),
            Dose(
                "cefuroxime",
                "infection",
                "1 mg in 0.1 ml",
                "1 mg into the chamber",
                "ask about allergy",
                ("invented",),
                "read",
            ),
        ),
        fallbacks=_fallbacks(),
        stops=(
            Stop(
                "no-ring-early",
                "no ring while the nucleus is in the bag",
                "it traps cortex and pulls on two lost hours",
                ("invented",),
            ),
            Stop("no-cut-with-ring", "no relaxing cut with a ring", "the rim must stay whole", ("invented",)),
        ),
        consent=("about 6 in 100 such eyes lose vitreous", "the lens may have to wait"),
        after=After(
            (
                Visit("day 1", "pressure, wound, cornea", "25 mmHg or more"),
                Visit("week 1", "lens centred", "tilt or edge in the pupil"),
                Visit("week 6", "refraction, pressure", "more than 1 D from the aim"),
            ),
            "4 to 6 hours after surgery",
            ("pain, worse sight or a curtain: come the same day",),
        ),
        doubts=(
            Doubt("hand-unknown", "The dominant hand is not known; right was planned."),
            Doubt("assumed", "The strength of the zonule is poorly known; its margins only rank."),
        ),
        sources=(SOURCE,),
        version={
            "engine": "0.1.0",
            "evidence": "0f3a9c2e17b4",
            "practice": "none",
            "context": "7c21d90b5e44",
            "draws": "1000",
        },
        caution=CAUTION,
        measures=measures,
        drawing=example_drawing(side=side, seat=seat),
    )
    return replace(built, **changes)
