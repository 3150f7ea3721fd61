"""The calculations of a day of many eyes: a quick sort with a lens for each, and the trace of trays and lots."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.eye.sorting import Group, sort_eye
from forestay.record import Record
from forestay.text import mark, tr

MOST_EYES = 5000
GROUPS: tuple[Group, ...] = ("routine", "difficult", "look-again", "refer", "not-today", "no-surgery")
SAID = {"light": mark("light perception")}
"""A sign whose own word means something else beside it (a theme of the page)."""
ASKED = ("light", "pupil", "white", "brown", "pseudoexfoliation", "lens_moves", "infection", "only_eye")
"""Signs that a sort must not lack: without them no eye is called routine."""
Yes = Annotated[bool | None, Field(description="yes, no, or not looked at")]


class EyeSigns(Record):
    """The few signs of one eye: what a torch, a look aside and three questions give."""

    eye: str = Field(min_length=1, max_length=40, description="number on the forehead label, never a name")
    side: Literal["left", "right"] = Field(description="which eye")
    age_years: Annotated[float, within("age_years")] | None = None
    light: Literal["full", "defective", "none"] | None = Field(default=None, description="projection of light")
    pupil: Literal["large", "medium", "small"] | None = Field(default=None, description="pupil after drops")
    pupil_defect: Yes = None
    white: Yes = None
    brown: Yes = None
    pseudoexfoliation: Yes = None
    lens_moves: Literal["none", "after-movement", "at-rest"] | None = Field(
        default=None, description="lens on a look aside"
    )
    lens_displaced: Yes = None
    injury: Yes = None
    infection: Yes = None
    hard_eye: Yes = None
    pressure_mmhg: Annotated[float, within("pressure_mmhg")] | None = None
    cornea_hazy: Yes = None
    only_eye: Yes = None
    eye_operated: Yes = None
    alpha_blocker: Yes = None
    anticoagulant: Yes = None
    lies_still: Yes = None
    measured_power_d: Annotated[float, within("sort_lens_power_d")] | None = None
    fellow_power_d: Annotated[float, within("sort_lens_power_d")] | None = None
    fellow_refraction_d: Annotated[float, within("refraction_d")] | None = None
    old_refraction_d: Annotated[float, within("old_refraction_d")] | None = None


class Batch(Record):
    """Something used up over the day whose lot is traced."""

    thing: str = Field(min_length=1, max_length=60, description="what it is: irrigating solution, OVD, dye, a drug")
    lot: str = Field(min_length=1, max_length=60, description="lot number")
    serves: int = Field(ge=1, description="how many eyes it serves")


class SortInput(Record):
    """The eyes of a day, what is here, and what lots are used up in what order."""

    eyes: tuple[EyeSigns, ...] = Field(min_length=1, max_length=MOST_EYES, strict=False, description="eyes, in order")
    vitrector: Yes = None
    target_d: Annotated[float, within("target_d")] | None = None
    trays: tuple[str, ...] = Field(
        default=(), max_length=200, strict=False, description="numbers of the trays, in turn"
    )
    lots: tuple[Batch, ...] = Field(default=(), max_length=500, strict=False, description="lots in the order of use")


class LensChoice(Record):
    """Which lens, by what, and how far off it may be."""

    power_d: float = Field(description="lens for the bag")
    spread_d: float | None = Field(description="one standard deviation of the refraction")
    basis: Literal["measured", "other eye", "old glasses", "standard"] = Field(description="by what")
    says: str = Field(description="in a sentence")


class SortRow(Record):
    """One eye, sorted."""

    eye: str = Field(description="number of the eye's owner")
    side: str = Field(description="which eye")
    group: Group = Field(description="where it goes; look-again: nothing found, but not everything was looked at")
    why: tuple[str, ...] = Field(description="reasons, those of the group first")
    tray_adds: tuple[str, ...] = Field(description="beside the usual tray")
    not_looked_at: tuple[str, ...] = Field(description="signs that were not looked at")
    lens: LensChoice | None = Field(description="lens; null where no surgery is done here today")
    tray: str | None = Field(description="tray, in turn; null where there is no surgery or no tray was named")
    lots: tuple[str, ...] = Field(description="thing and lot, as they are used up")


class LotUse(Record):
    """Where a lot or a tray went."""

    thing: str = Field(description="what it is")
    lot: str = Field(description="lot, or number of the tray")
    eyes: tuple[str, ...] = Field(description="who had it, in order")


class SortOutput(Record):
    """The day, sorted."""

    rows: tuple[SortRow, ...] = Field(description="eyes in the order given")
    counts: dict[str, int] = Field(description="how many in each group")
    order: tuple[str, ...] = Field(description="eyes to operate on here: only eyes and difficult ones first")
    trace: tuple[LotUse, ...] = Field(description="lots and trays with the eyes that had them")


@calculation(
    "sort-eyes",
    summary="A quick sort of many eyes: routine, difficult, refer; a lens for each; trays and lots traced",
    formula="the strictest group of which a rule holds; lens by measurement, other eye, old glasses, or the standard",
    valid="A first look, not a plan: every eye that is operated on is looked at again under the microscope",
    input=SortInput,
    output=SortOutput,
    example={
        "eyes": [
            {
                "eye": "101",
                "side": "right",
                "light": "full",
                "pupil": "large",
                "white": False,
                "brown": False,
                "pseudoexfoliation": False,
                "lens_moves": "none",
                "infection": False,
                "only_eye": False,
            },
            {"eye": "102", "side": "left", "light": "full", "pupil": "small", "pseudoexfoliation": True},
        ],
        "trays": ["T1", "T2"],
        "lots": [{"thing": "irrigating solution", "lot": "INV-B500", "serves": 2}],
    },
)
def sort_eyes(given: SortInput, use: Reader) -> tuple[SortOutput, list[Doubt]]:
    """Sort every eye; then hand out trays and lots in the order of operating."""
    sorted_eyes = []
    for eye in given.eyes:
        signs = {f"sign.{k}": v for k, v in eye if v is not None}
        found = sort_eye(signs | {"here.vitrector": given.vitrector}, use)
        missing = tuple(tr(SAID.get(n, n.replace("_", " "))) for n in ASKED if getattr(eye, n) is None)
        if found.group == "routine" and missing:
            found = replace(found, group="look-again")
        sorted_eyes.append((eye, found, missing))
    here = [i for i, (_, f, _) in enumerate(sorted_eyes) if f.group in ("difficult", "routine")]
    here.sort(key=lambda i: (sorted_eyes[i][1].group == "routine", not sorted_eyes[i][0].only_eye))
    trays = {i: given.trays[n % len(given.trays)] for n, i in enumerate(here)} if given.trays else {}
    lots = _lots(given.lots, here)
    rows = []
    for i, (eye, found, missing) in enumerate(sorted_eyes):
        rows.append(
            SortRow(
                eye=eye.eye,
                side=eye.side,
                group=found.group,
                why=found.why,
                tray_adds=found.tray,
                not_looked_at=missing,
                lens=_lens(eye, given.target_d or 0.0, use) if i in lots else None,
                tray=trays.get(i),
                lots=tuple(f"{thing} {lot}" for thing, lot in lots.get(i, ())),
            )
        )
    counts: dict[str, int] = {g: sum(r.group == g for r in rows) for g in GROUPS}
    doubts = [
        Doubt(
            "first-look",
            tr(
                "A sort by a few signs is a first look: the eye is looked at again under the microscope before surgery."
            ),
        )
    ]
    if any(r.not_looked_at for r in rows):
        doubts.append(Doubt("signs-missing", tr("Signs that were not looked at decide nothing; they are listed.")))
    short = [
        thing
        for thing in dict.fromkeys(b.thing for b in given.lots)
        if sum(b.serves for b in given.lots if b.thing == thing) < len(here)
    ]
    doubts += [Doubt("lots-short", tr("{thing} does not serve all eyes of the day.", thing=t)) for t in short]
    return SortOutput(
        rows=tuple(rows),
        counts=counts,
        order=tuple(f"{rows[i].eye} {rows[i].side}" for i in here),
        trace=_trace(rows, here, lots),
    ), doubts


def _lots(batches: tuple[Batch, ...], here: list[int]) -> dict[int, list[tuple[str, str]]]:
    """Lots used up in their order, for the eyes in the order of operating."""
    out: dict[int, list[tuple[str, str]]] = {i: [] for i in here}
    by_thing: dict[str, list[str]] = {}
    for batch in batches:
        by_thing.setdefault(batch.thing, []).extend([batch.lot] * min(batch.serves, len(here)))
    for thing, each in by_thing.items():
        for i, lot in zip(here, each, strict=False):
            out[i].append((thing, lot))
    return out


def _trace(rows: list[SortRow], here: list[int], lots: dict[int, list[tuple[str, str]]]) -> tuple[LotUse, ...]:
    had: dict[tuple[str, str], list[str]] = {}
    for i in here:
        name = f"{rows[i].eye} {rows[i].side}"
        for use in lots[i]:
            had.setdefault(use, []).append(name)
        tray: Any = rows[i].tray
        if tray is not None:
            had.setdefault((tr("tray"), tray), []).append(name)
    return tuple(LotUse(thing=thing, lot=lot, eyes=tuple(eyes)) for (thing, lot), eyes in had.items())


def _lens(eye: EyeSigns, target_d: float, use: Reader) -> LensChoice:
    """The lens by the best that is known; a long eye never comes here without a measurement (a rule holds it back)."""
    step = use.number("lens_policy.step_d")
    standard = use.number("lens_policy.standard_power_d")

    def made(power: float, spread: float | None, basis: Any, says: str) -> LensChoice:
        rounded = round(power / step) * step
        return LensChoice(power_d=rounded, spread_d=spread, basis=basis, says=says)

    if eye.measured_power_d is not None:
        return made(eye.measured_power_d, None, "measured", tr("by biometry of this eye"))
    if eye.fellow_power_d is not None and eye.fellow_refraction_d is not None:
        move = use.number("lens_policy.per_fellow_error") * (eye.fellow_refraction_d - target_d)
        return made(
            eye.fellow_power_d + move,
            use.number("lens_policy.fellow_spread_d"),
            "other eye",
            tr(
                "by the other eye: {power:+.1f} D gave {refraction:+.2f} D",
                power=eye.fellow_power_d,
                refraction=eye.fellow_refraction_d,
            ),
        )
    per = use.number("lens_policy.per_old_refraction")
    if eye.old_refraction_d is not None:
        return made(
            standard + per * (eye.old_refraction_d - target_d),
            use.number("lens_policy.old_refraction_spread_d"),
            "old glasses",
            tr("by old glasses of {d:+.2f} D, made before the cataract", d=eye.old_refraction_d),
        )
    return made(
        standard - per * target_d,
        use.number("lens_policy.standard_spread_d"),
        "standard",
        tr("the standard lens: nothing was measured"),
    )


CALCULATIONS = (sort_eyes,)
