"""One operated eye as audit sees it: what was planned, what was done, what came. Folded from the facts of its case.

Sizes that are read from ``done`` facts, by step: ``lens`` (``lens_power_d``, devices: the lens model first),
``capsulorhexis`` (``capsulorhexis_mm``), ``tunnel`` (``tunnel_outer_mm``, ``tunnel_inner_mm``, ``tunnel_clock``),
``pupil`` (``hooks_count``). A device written ``lot NAME`` or ``tray NAME`` is traced.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from forestay.case.bodies import Decided, Done, Happened, Planned, Seen
from forestay.case.fact import Fact
from forestay.case.fold import Entry, entries, fold
from forestay.errors import ForestayError
from forestay.eye.records import CaseFile
from forestay.review import from_plan
from forestay.review.from_plan import Foretold

INVENTED = "invented"
STEP_OF_LENS = "lens"
LOT, TRAY, SERIAL = "lot ", "tray ", "serial "
CHECKS = ("check: ", "lens compared with the plan")
"""What ``done`` facts begin with that tick a check or compare a lens in the hand: no step of an operation."""

SIZES = {
    "capsulorhexis_mm": "capsulorhexis_mm",
    "tunnel_outer_mm": "tunnel_outer_mm",
    "tunnel_inner_mm": "tunnel_inner_mm",
    "tunnel_clock": "tunnel_clock",
    "hooks_count": "pupil_hooks",
}
"""Size of a ``done`` fact -> measure of the plan that it is compared with."""


@dataclass(frozen=True, slots=True)
class Vector:
    """A change of corneal astigmatism as a double-angle vector [D]: x along 0 and 90, y along the oblique axes."""

    x_d: float
    y_d: float


@dataclass(frozen=True, slots=True)
class Outcome:
    """An operated eye. What was not recorded is None; nothing is guessed."""

    case_id: str
    operated_on: date
    surgeon: str
    grade: str | None
    invented: bool
    age_years: float
    side: str
    mix: Mapping[str, bool | None]
    """Signs that make a case difficult, by name; None: not recorded."""
    technique_planned: str | None
    technique: str | None
    lens_model: str | None
    lens_power_d: float | None
    lens_position: str | None
    formula: str | None
    length_method: str | None
    axial_length_mm: float | None
    k1_d: float | None
    k2_d: float | None
    chamber_depth_mm: float | None
    predicted_refraction_d: float | None
    predicted_sd_d: float | None
    refraction_d: float | None
    refraction_day: int | None
    risks: Mapping[str, float] = field(default_factory=dict)
    """Probability told before surgery, by name of the complication."""
    model_risks: Mapping[str, float] = field(default_factory=dict)
    """The same by the published model alone, without the own record of that time."""
    risks_of: str | None = None
    """Technique that these probabilities belong to."""
    events: tuple[str, ...] = ()
    steps_planned: tuple[str, ...] = ()
    steps_done: tuple[str, ...] = ()
    sizes: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """Size -> planned, done."""
    supports_planned: tuple[str, ...] = ()
    supports_used: tuple[str, ...] = ()
    incision_clock: float | None = None
    incision_kind: str | None = None
    predicted_induced_d: float | None = None
    predicted_induced_sd_d: float | None = None
    induced: Vector | None = None
    """Change of the cornea from before surgery to the last visit with keratometry."""
    cells_before: float | None = None
    cells_after: float | None = None
    pressure_day_one_mmhg: float | None = None
    acuity_day_one_logmar: float | None = None
    acuity_logmar: float | None = None
    acuity: str | None = None
    acuity_type: str | None = None
    acuity_day: int | None = None
    last_day: int | None = None
    """Day of the last visit; None where nobody has seen the eye since."""
    lots: tuple[str, ...] = ()
    trays: tuple[str, ...] = ()
    length_used_mm: float | None = None
    """Length that the plan reckoned with, after what it added for the method; the measured one is ``axial_length_mm``."""
    lens_constant: Mapping[str, float] = field(default_factory=dict)
    """Constant of the lens in the case, as the plan started from it."""
    hands: tuple[tuple[str, str], ...] = ()
    """Step and who did it, in order."""
    steps_supervised: tuple[str, ...] = ()
    """Steps that the plan gave to the supervisor of a trainee."""
    foretold: tuple[Foretold, ...] = ()
    """Every probability that the plan gave for the technique that was used."""
    refraction_half_d: float | None = None
    """Half of the interval that the plan told for the refraction with the lens in this place."""
    cells_told: tuple[float, float, float] | None = None
    """Cells left, as told: mean, low, high; None where another technique was used."""

    def happened(self, *events: str) -> bool:
        """Whether any of these events is recorded."""
        return any(event in self.events for event in events)

    @property
    def rupture(self) -> bool:
        """The audit's definition: capsule torn with or without vitreous, or zonule torn with vitreous in front.

        A torn zonule without vitreous is not counted; each of the four flags is kept apart in ``events``.
        """
        return self.happened("posterior-capsule-tear") or (
            self.happened("zonular-dialysis") and self.happened("vitreous-in-chamber")
        )

    @property
    def refraction_error_d(self) -> float | None:
        """Achieved less predicted spherical equivalent [D]."""
        if self.refraction_d is None or self.predicted_refraction_d is None:
            return None
        return self.refraction_d - self.predicted_refraction_d


def outcome_of(case_id: str, facts: Iterable[Fact]) -> Outcome | None:
    """The outcome of one case; None where no step of an operation is recorded, or side or age are not known."""
    facts = list(facts)
    standing = sorted((e for e in entries(facts) if e.stands), key=lambda e: (e.place, e.index))
    done = [e for e in standing if isinstance(e.body, Done) and not e.body.step.startswith(CHECKS)]
    if not done:
        return None
    try:
        case = fold(facts).case
    except ForestayError:
        return None
    plan = _plan_before(standing, done[0])
    visits = sorted((e.body for e in standing if isinstance(e.body, Seen)), key=lambda seen: seen.day)
    return _outcome(case_id, facts, case, _Told(standing, done, plan, visits))


@dataclass(frozen=True)
class _Told:
    """What the facts say, sorted."""

    standing: list[Entry]
    done: list[Entry]
    plan: Mapping[str, Any]
    visits: list[Seen]

    def last(self, *names: str) -> Seen | None:
        """The last visit at which all of these were recorded."""
        return next((v for v in reversed(self.visits) if all(getattr(v, name) is not None for name in names)), None)

    def step(self, name: str) -> Done | None:
        """The last time that a step was recorded."""
        return next((e.body for e in reversed(self.done) if isinstance(e.body, Done) and e.body.step == name), None)

    def decided(self, subject: str) -> Any:
        """The last decision on a subject."""
        said = [e.body.choice for e in self.standing if isinstance(e.body, Decided) and e.body.subject == subject]
        return said[-1] if said else None


def _plan_before(standing: list[Entry], first: Entry) -> Mapping[str, Any]:
    """The last plan that was kept before the first step; empty where none was."""
    kept = [e.body for e in standing if isinstance(e.body, Planned) and e.index < first.index]
    if not kept:
        return {}
    found: Mapping[str, Any] = json.loads(kept[-1].plan_bytes)
    return found


def _outcome(case_id: str, facts: list[Fact], case: CaseFile, told: _Told) -> Outcome:
    plan, biometry = told.plan, case.biometry
    measures = plan.get("measures") or {}
    lens, refraction = told.step(STEP_OF_LENS), told.last("refraction_d")
    acuity = next((v for v in reversed(told.visits) if v.acuity_logmar is not None or v.acuity is not None), None)
    devices = [d for e in told.done if isinstance(e.body, Done) for d in e.body.devices]
    position = told.decided("lens_position") or measures.get("lens_position")
    power = lens.sizes.get("lens_power_d") if lens else None
    predicted = from_plan.predicted_refraction(plan, position, power)
    chosen = (plan.get("chosen") or {}).get("technique")
    technique = told.decided("technique_done") or told.decided("technique") or chosen
    early = next((v for v in told.visits if v.day <= 1), None)
    cells = told.last("endothelial_count_per_mm2")
    astigmatism = plan.get("astigmatism") or {}
    return Outcome(
        case_id=case_id,
        operated_on=told.done[0].fact.header.happened_at.date(),
        surgeon=_surgeon(told),
        grade=case.theatre.surgeon_grade,
        invented=any(fact.header.author == INVENTED for fact in facts),
        age_years=case.person.age_years,
        side=case.eye.side,
        mix=_mix(case),
        technique_planned=chosen,
        technique=technique,
        lens_model=_model(lens),
        lens_power_d=power,
        lens_position=position,
        formula=(plan.get("lens") or {}).get("formula"),
        length_method=biometry.axial_length_method,
        axial_length_mm=biometry.axial_length_mm,
        k1_d=biometry.k1_d,
        k2_d=biometry.k2_d,
        chamber_depth_mm=biometry.chamber_depth_mm,
        predicted_refraction_d=predicted[0],
        predicted_sd_d=predicted[1],
        refraction_d=refraction.refraction_d if refraction else None,
        refraction_day=refraction.day if refraction else None,
        risks=from_plan.risks(plan, technique, "probability"),
        model_risks=from_plan.risks(plan, technique, "by_model"),
        risks_of=technique,
        events=tuple(dict.fromkeys(e.body.event for e in told.standing if isinstance(e.body, Happened))),
        steps_planned=tuple(step["key"] for step in plan.get("steps", ())),
        steps_done=tuple(dict.fromkeys(e.body.step for e in told.done if isinstance(e.body, Done))),
        sizes=_sizes(told, measures),
        supports_planned=from_plan.supports_planned(measures),
        supports_used=_supports_used(told),
        incision_clock=_first_size(told, "tunnel_clock", measures.get("tunnel_clock")),
        incision_kind=measures.get("tunnel_shape"),
        predicted_induced_d=astigmatism.get("induced_d"),
        predicted_induced_sd_d=astigmatism.get("induced_sd_d"),
        induced=_induced(case, told),
        cells_before=biometry.endothelial_count_per_mm2,
        cells_after=cells.endothelial_count_per_mm2 if cells else None,
        pressure_day_one_mmhg=early.pressure_mmhg if early else None,
        acuity_day_one_logmar=early.acuity_logmar if early else None,
        acuity_logmar=acuity.acuity_logmar if acuity else None,
        acuity=acuity.acuity if acuity else None,
        acuity_type=acuity.acuity_type if acuity else None,
        acuity_day=acuity.day if acuity else None,
        last_day=told.visits[-1].day if told.visits else None,
        lots=tuple(d.removeprefix(LOT) for d in devices if d.startswith(LOT)),
        trays=tuple(d.removeprefix(TRAY) for d in devices if d.startswith(TRAY)),
        length_used_mm=(plan.get("lens") or {}).get("length_mm"),
        lens_constant=_constant(case),
        hands=tuple((e.body.step, e.body.by) for e in told.done if isinstance(e.body, Done)),
        steps_supervised=from_plan.supervised(plan),
        foretold=from_plan.foretold(plan, technique),
        refraction_half_d=from_plan.half_d(plan, position),
        cells_told=from_plan.cells(plan) if technique == chosen else None,
    )


def _constant(case: CaseFile) -> dict[str, float]:
    given = case.target.lens_constant
    values = given.model_dump(exclude_none=True) if given is not None else {}
    return {name: value for name, value in values.items() if isinstance(value, float)}


def _surgeon(told: _Told) -> str:
    """Who did most of the steps; the first among equals."""
    by = [e.body.by for e in told.done if isinstance(e.body, Done)]
    return max(dict.fromkeys(by), key=by.count)


def _mix(case: CaseFile) -> dict[str, bool | None]:
    signs, lens = case.signs, case.lens
    weak = None if signs.phacodonesis is None else signs.phacodonesis != "none"
    return {
        "brown-or-white": None if lens.appearance is None else lens.appearance not in ("clear", "nuclear"),
        "pseudoexfoliation": signs.pseudoexfoliation,
        "phacodonesis": weak,
        "glaucoma": signs.glaucoma,
        "no-fundus-view": None if signs.fundus_view is None else not signs.fundus_view,
        "only-eye": case.eye.only_eye,
    }


def _model(lens: Done | None) -> str | None:
    named = [d for d in lens.devices if not d.startswith((LOT, TRAY, SERIAL))] if lens else []
    return named[0] if named else None


def _sizes(told: _Told, measures: Mapping[str, Any]) -> dict[str, tuple[float, float]]:
    found = {}
    for size, measure in SIZES.items():
        planned, did = measures.get(measure), _first_size(told, size, None)
        if planned is not None and did is not None:
            found[size] = (float(planned), did)
    return found


def _first_size(told: _Told, size: str, otherwise: float | None) -> float | None:
    said = [e.body.sizes[size] for e in told.done if isinstance(e.body, Done) and size in e.body.sizes]
    return said[-1] if said else otherwise


def _supports_used(told: _Told) -> tuple[str, ...]:
    steps = {"ring": "ring", "capsule-hooks": "capsule-hooks", "pupil": "pupil-hooks"}
    return tuple(word for step, word in steps.items() if told.step(step) is not None)


def _induced(case: CaseFile, told: _Told) -> Vector | None:
    """Steepening after less before, from both keratometries with their axes."""
    biometry, after = case.biometry, told.last("k1_d", "k1_axis_deg", "k2_d", "k2_axis_deg")
    before = (biometry.k1_d, biometry.k1_axis_deg, biometry.k2_d, biometry.k2_axis_deg)
    if after is None or any(value is None for value in before):
        return None
    from forestay.calc.astigmatism import induced_astigmatism_calculation

    answer = induced_astigmatism_calculation(
        before={
            "k1_d": biometry.k1_d,
            "k1_axis_deg": biometry.k1_axis_deg,
            "k2_d": biometry.k2_d,
            "k2_axis_deg": biometry.k2_axis_deg,
        },
        after={
            "k1_d": after.k1_d,
            "k1_axis_deg": after.k1_axis_deg,
            "k2_d": after.k2_d,
            "k2_axis_deg": after.k2_axis_deg,
        },
    )
    return Vector(answer.result.x_d, answer.result.y_d)
