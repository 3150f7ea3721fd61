"""The plan as a value: all that a face may show; :func:`as_dict` gives plain JSON. Clock hours and meridians are the eye's."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from forestay.answer import Doubt
from forestay.plan.lens_model import LensPlan, LensPosition
from forestay.plan.model_compare import Comparison, Criterion
from forestay.plan.model_decision import Decision, First, Verdict, WouldChange
from forestay.plan.model_risk import FindingChange, Origin, Risk
from forestay.plan.model_steps import Conflict, Cue, Fallback, Remedy, Rung, Shift, State, Step, Stop
from forestay.plan.model_trolley import Dose, KitItem

__all__ = [
    "Comparison",
    "Conflict",
    "Criterion",
    "Cue",
    "Decision",
    "Dose",
    "Fallback",
    "FindingChange",
    "First",
    "KitItem",
    "LensPlan",
    "LensPosition",
    "Origin",
    "Remedy",
    "Risk",
    "Rung",
    "Shift",
    "State",
    "Step",
    "Stop",
    "Verdict",
    "WouldChange",
]  # told again here; the classes below speak for themselves

Level = Literal["note", "recheck", "refuse"]


@dataclass(frozen=True)
class Check:
    """A plausibility finding."""

    field: str
    value: Any
    level: Level
    why: str
    source: str


@dataclass(frozen=True)
class Estimate:
    """A quantity of the eye that was worked out rather than measured, with its interval (central 90 %)."""

    name: str
    label: str
    value: float
    low: float
    high: float
    unit: str
    origin: Origin


@dataclass(frozen=True)
class Widen:
    """The one change that would widen a margin most. ``control``/``value`` let a page make it."""

    change: str
    gain: float
    control: str | None = None
    value: float | str | None = None


@dataclass(frozen=True)
class Margin:
    """What a step needs against what the eye offers."""

    key: str
    step: str
    needs: float
    has: float
    unit: str
    margin: float
    low: float
    high: float
    scale: Literal["absolute", "comparative"]
    probability: float | None
    rests_on: tuple[str, ...]
    widen: Widen | None
    says: str
    """One sentence: what is needed, what is there."""
    origin: Origin
    group: Literal["main", "zonule"] = "main"


@dataclass(frozen=True)
class Unassessed:
    """A margin that lacks input, with which."""

    step: str
    lacks: tuple[str, ...]


@dataclass(frozen=True)
class Measures:
    """Every size, device and place that an option uses. All clock hours are the eye's."""

    technique: str
    anaesthetic: str | None
    pupil_hooks: int
    hook_clocks: tuple[float, ...]
    hook_reach_mm: float | None
    capsulorhexis_mm: float | None
    capsule_hook_clocks: tuple[float, ...]
    ring: str
    relaxing_cuts: int
    tunnel_clock: float
    tunnel_shape: str
    tunnel_outer_mm: float
    tunnel_inner_mm: float
    tunnel_sagitta_mm: float
    tunnel_distance_mm: float
    sutured: bool
    lens_position: str
    dye: bool
    ring_gap_clock: float | None = None
    """Where the opening of the ring lies. None without a ring."""


@dataclass(frozen=True)
class Option:
    """One way to go about this eye, with margins and risks."""

    technique: str
    label: str
    measures: Measures | None
    margins: tuple[Margin, ...]
    risks: tuple[Risk, ...]
    rank: int
    why: tuple[str, ...]
    available: bool
    unassessed: tuple[Unassessed, ...] = ()
    criteria: tuple[Criterion, ...] = ()
    """What it comes to by each measure of the comparison."""
    kit: tuple[str, ...] = ()
    """What it needs of the things that a theatre may lack, in the case file's words."""
    lacks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Chosen:
    """The choice, always filled; ``clear`` is False where the next best option is about as good."""

    technique: str
    clear: bool
    why: tuple[str, ...]
    next_best: str | None


@dataclass(frozen=True)
class Astigmatism:
    """What the cornea has and what the incision does to it."""

    before_d: float | None
    before_axis_deg: float | None
    induced_d: float | None
    induced_sd_d: float | None
    after_d: float | None
    after_axis_deg: float | None
    says: str
    origin: Origin | None
    toric_says: str = ""
    """Whether a toric lens is advised against, or what it would have to be and which box comes nearest."""
    place_says: str = ""
    """Where another free place of the incision would leave clearly less."""
    own_says: str = ""
    """What the practice's own incisions of this kind did, and what they weigh; empty where there are none."""


@dataclass(frozen=True)
class Visit:
    """A visit after surgery: when, what to look at, what to act on."""

    when: str
    check: str
    act_on: str


@dataclass(frozen=True)
class After:
    """Follow-up: visits, pressure check, warnings for the patient."""

    visits: tuple[Visit, ...]
    pressure_check: str
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class SupportRank:
    """One support of the zonule in its best moment, compared with the others within this eye. Hours are the eye's.

    ``reserve``: share of what the most stretched fibre bears that is left at the worst step, below 0 where it is asked
    for more; ``peak_load``: the most loaded clock hour at the last step, healthy resting load = 1; ``off_centre``: how
    far the bag is left off centre, hooks out, as a multiple of the resting stretch of its fibres; ``ring_gap_clock``: where
    the ends of its ring lie, None without a ring; ``worst_step``: at which step the reserve is least, in words;
    ``planned``: it is what the measures plan.
    """

    rank: int
    label: str
    kind: str
    hooks: tuple[float, ...]
    segments: tuple[float, ...]
    ring_timing: Literal["now", "later", "not"]
    ring_gap_clock: float | None
    before_step: str | None
    held: bool
    off_centre: float | None
    reserve: float | None
    worst_step: str
    peak_load: float | None
    best: bool
    planned: bool
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Drawing:
    """What the drawings need of this plan, beyond the measures: sizes of this eye and loads by clock hour."""

    side: str
    seat: str
    white_to_white_mm: float
    pupil_mm: float | None
    nucleus_diameter_mm: float | None
    nucleus_thickness_mm: float | None
    bag_diameter_mm: float
    lens_thickness_mm: float | None
    chamber_depth_mm: float | None
    corneal_thickness_um: float
    chamber_room_mm: float | None
    ovd_gain_mm: float
    opening_circle_mm: float | None
    zonule: tuple[float, ...]
    """Share of healthy support by clock hour 12, 1, ... 11."""
    load: tuple[float, ...]
    """Resting load by clock hour, healthy = 1."""
    gaps: tuple[float, ...]
    displacement_mm: float
    displacement_clock: float | None
    seat_says: str = ""
    """Where the surgeon does not sit at the incision. Beside the drawings, since nothing else may depend on the seat."""


@dataclass(frozen=True)
class RingRest:
    """How the empty bag is left with the planned ring in it, hooks out and nothing pulling; healthy resting stretch = 1.

    ``state``: ``held``; ``slid``: the ring turns out of its place; ``escaped``, ``collapsed``, ``unsupported``: no rest,
    and the numbers are None. Compares within one eye.
    """

    state: str
    off_centre: float | None
    towards_clock: float | None
    peak: float | None
    words: str


@dataclass(frozen=True)
class DoubtGroup:
    """Doubts about the evidence that belong together: ``key``, ``title``, and the doubts themselves."""

    key: str
    title: str
    doubts: tuple[Doubt, ...]


@dataclass(frozen=True)
class Plan:
    """The whole answer for one eye."""

    decision: Decision
    eye: dict[str, Any]
    checks: tuple[Check, ...]
    estimates: tuple[Estimate, ...]
    options: tuple[Option, ...]
    chosen: Chosen
    margins: tuple[Margin, ...]
    unassessed: tuple[Unassessed, ...]
    lens: LensPlan
    astigmatism: Astigmatism
    steps: tuple[Step, ...]
    kit: dict[str, Any]
    """``{"items": [KitItem...], "missing": [names]}``"""
    doses: tuple[Dose, ...]
    fallbacks: tuple[Fallback, ...]
    stops: tuple[Stop, ...]
    consent: tuple[str, ...]
    after: After
    doubts: tuple[Doubt, ...]
    sources: tuple[dict[str, Any], ...]
    version: dict[str, str]
    caution: str
    measures: Measures | None = None
    drawing: Drawing | None = None
    disagreements: tuple[dict[str, Any], ...] = field(default=())
    decided: dict[str, Any] = field(default_factory=dict)
    """What was settled or tried, by name; the rest was left to the plan."""
    supports: tuple[SupportRank, ...] = field(default=())
    finding_changes: tuple[FindingChange, ...] = field(default=())
    """What each finding that may come at surgery would make of the estimate of the zonule."""
    conflicts: tuple[Conflict, ...] = field(default=())
    ring_rest: RingRest | None = None
    comparison: Comparison | None = None
    happened: tuple[State, ...] = field(default=())
    """What has happened in the operation so far and moves the plan."""
    doubt_groups: tuple[DoubtGroup, ...] = field(default=())
    """The doubts about the evidence, those behind what decides first; all stand among ``doubts`` too."""


def as_dict(plan: Plan) -> dict[str, Any]:
    """The plan in plain JSON types."""
    return asdict(plan)
