"""Calculations of a preparation step by step, of a dose against its band, and of an infusion by weight."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.dosing import infusion as infusion_engine
from forestay.dosing.band import Band, Verdict
from forestay.dosing.vessel import Vessel
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.record import Record
from forestay.text import tr

BandedDrug = Literal[
    "cefuroxime",
    "moxifloxacin",
    "vancomycin",
    "ceftazidime",
    "amikacin",
    "ceftriaxone",
    "amphotericin",
    "dexamethasone",
    "carbachol",
    "acetylcholine",
]
BANDED: tuple[str, ...] = BandedDrug.__args__  # type: ignore[attr-defined]
OWN_BAND = ("cefuroxime", "moxifloxacin")
NEVER_TOGETHER = (("vancomycin", "ceftazidime"),)
"""Drugs that precipitate in one syringe (source ``separate-syringes``)."""


def band_of(drug: str, use: Reader) -> Band:
    """The band of a drug given into the eye [mg]."""
    if drug in OWN_BAND:
        return Band(**{k: float(v) for k, v in use.table(f"band.{drug}").items()})
    shares = Band(**{k: float(v) for k, v in use.table("band.shares").items()})
    return shares.scaled(use.number(f"band.usual_mg.{drug}"))


class DoseBandInput(Record):
    """A drug given into the eye and the amount in the syringe."""

    drug: BandedDrug = Field(description="drug given into the eye")
    dose_mg: Annotated[float, within("dose_mg")]


class DoseBand(Record):
    """Whether the amount passes, warns or stops, and the edges."""

    verdict: Verdict = Field(description="pass: give; warn: reckon again with a second person; stop: do not give")
    stop_below_mg: float = Field(description="under this it stops")
    pass_low_mg: float = Field(description="from here it passes")
    pass_high_mg: float = Field(description="up to here it passes")
    stop_above_mg: float = Field(description="over this it stops")
    says: str = Field(description="the verdict in one sentence")


@calculation(
    "dose-band",
    summary="Amount of a drug for the eye against the band that passes, warns or stops",
    formula="pass within the inner edges, warn between inner and outer, stop beyond; edges belong to the milder side",
    valid="Adult eyes; chamber: cefuroxime, moxifloxacin, carbachol, acetylcholine; the others into the vitreous",
    input=DoseBandInput,
    output=DoseBand,
    example={"drug": "cefuroxime", "dose_mg": 1.0},
)
def dose_band(given: DoseBandInput, use: Reader) -> tuple[DoseBand, list[Doubt]]:
    """The verdict on one amount."""
    band = band_of(given.drug, use)
    verdict = band.judge(given.dose_mg)
    return DoseBand(
        verdict=verdict,
        stop_below_mg=band.stop_below,
        pass_low_mg=band.pass_low,
        pass_high_mg=band.pass_high,
        stop_above_mg=band.stop_above,
        says=band_sentence(given.drug, given.dose_mg, band, verdict),
    ), []


def band_sentence(drug: str, dose_mg: float, band: Band, verdict: Verdict) -> str:
    """The verdict in words."""
    said = tr(
        "{drug} {dose:g} mg; {low:g} to {high:g} mg passes",
        drug=tr(drug),
        dose=dose_mg,
        low=band.pass_low,
        high=band.pass_high,
    )
    return {
        "pass": tr("{said}: it passes.", said=said),
        "warn": tr("{said}: reckon again with a second person before it is given.", said=said),
        "stop": tr(
            "{said}, under {below:g} and over {above:g} mg stops: do not give it.",
            said=said,
            below=band.stop_below,
            above=band.stop_above,
        ),
    }[verdict]


class MixtureStep(Record):
    """One step: add a solution, a powder or a diluent; make up, keep or throw away."""

    do: Literal["add", "add-powder", "make-to", "keep", "discard"] = Field(description="what is done")
    ml: Annotated[float, within("step_ml")] | None = None
    drug: Annotated[str, Field(min_length=1, max_length=60, description="drug; left out for a diluent")] | None = None
    per_ml: Annotated[float, within("amount_per_ml")] | None = None
    amount: Annotated[float, within("amount")] | None = None
    displaces_ml: Annotated[float, within("displaces_ml")] | None = None

    @model_validator(mode="after")
    def _complete(self) -> MixtureStep:
        if self.do == "add-powder":
            if self.drug is None or self.amount is None:
                raise ValueError("a powder needs drug and amount")
        elif self.ml is None:
            raise ValueError("this step needs ml")
        if self.do == "add" and (self.drug is None) != (self.per_ml is None):
            raise ValueError("a solution needs drug and per_ml, a diluent neither")
        return self


class MixtureInput(Record):
    """The steps of a preparation in order, and how much is given."""

    steps: tuple[MixtureStep, ...] = Field(min_length=1, max_length=30, strict=False, description="steps in order")
    given_ml: Annotated[float, within("given_ml")] | None = None
    unit: str = Field(default="mg", max_length=20, description="unit of the amounts: mg, IU, mmol; bands need mg")


class Content(Record):
    """One drug in what was prepared."""

    drug: str = Field(description="drug")
    per_ml: float = Field(description="strength at the end, in the unit for each ml")
    amount: float = Field(description="amount in all that was prepared, in the unit")
    given: float | None = Field(description="amount in the volume given, in the unit; null where no volume was said")
    verdict: Verdict | None = Field(description="against the band, for drugs that have one and in mg; else null")


class Mixture(Record):
    """What was prepared."""

    total_ml: float = Field(description="volume prepared")
    unit: str = Field(description="unit of the amounts")
    contents: tuple[Content, ...] = Field(description="every drug in it")
    verdict: Verdict | None = Field(
        description="the worst verdict of all; stop also for drugs that must not share a syringe"
    )
    says: tuple[str, ...] = Field(description="what to do about it, in sentences")


@calculation(
    "mixture",
    summary="A preparation step by step: strength and dose of every drug in it",
    formula="amount adds up, volume adds up, strength = amount / volume; given = strength x volume given",
    valid="Well-mixed solutions whose volumes add up; a powder adds what it displaces",
    input=MixtureInput,
    output=Mixture,
    example={
        "steps": [
            {"do": "add", "drug": "lidocaine", "per_ml": 40, "ml": 1},
            {"do": "add", "ml": 3},
            {"do": "discard", "ml": 1},
            {"do": "add", "drug": "adrenaline", "per_ml": 1, "ml": 1},
        ],
        "given_ml": 0.5,
    },
)
def mixture(given: MixtureInput, use: Reader) -> tuple[Mixture, list[Doubt]]:
    """Follow the steps; judge what is given against its band."""
    vessel, doubts = _prepared(given, use)
    parts = vessel.given(ml=given.given_ml) if given.given_ml is not None else {}
    says: list[str] = []
    verdicts: list[Verdict] = []
    contents = []
    for drug, amount in vessel.amounts.items():
        dose, verdict = parts.get(drug), None
        if dose is not None and drug in BANDED and given.unit == "mg" and len(vessel.amounts) == 1:
            band = band_of(drug, use)
            verdict = band.judge(dose)
            verdicts.append(verdict)
            says.append(band_sentence(drug, dose, band, verdict))
        contents.append(Content(drug=drug, per_ml=vessel.strength(drug), amount=amount, given=dose, verdict=verdict))
    for pair in NEVER_TOGETHER:
        if set(pair) <= set(vessel.amounts):
            verdicts.append("stop")
            says.append(tr("{a} and {b} precipitate in one syringe: two syringes.", a=tr(pair[0]), b=tr(pair[1])))
    worst = next((v for v in ("stop", "warn", "pass") if v in verdicts), None)
    return Mixture(
        total_ml=vessel.volume_ml, unit=given.unit, contents=tuple(contents), verdict=worst, says=tuple(says)
    ), doubts


def _prepared(given: MixtureInput, use: Reader) -> tuple[Vessel, list[Doubt]]:
    vessel, doubts = Vessel(), []
    small = use.number("dilution.small_syringe_ml")
    for step in given.steps:
        if step.do == "add-powder":
            vessel = vessel.add_powder(
                drug=step.drug or "", amount=step.amount or 0.0, displaces_ml=step.displaces_ml or 0.0
            )
            if step.displaces_ml is None:
                doubts.append(
                    Doubt(
                        "displacement-not-counted",
                        tr("What {drug} powder displaces is not said and was taken as nothing.", drug=step.drug),
                    )
                )
            continue
        ml = step.ml or 0.0
        if step.do == "add":
            mixing = vessel.volume_ml > 0
            vessel = vessel.add(ml=ml, drug=step.drug, per_ml=step.per_ml or 0.0)
        else:
            mixing = step.do == "make-to" and ml > vessel.volume_ml > 0
            vessel = {"make-to": vessel.make_to, "keep": vessel.keep, "discard": vessel.discard}[step.do](ml=ml)
        if mixing and vessel.volume_ml <= small:
            doubts.append(small_syringe_doubt(use))
    return vessel, doubts


def small_syringe_doubt(use: Reader) -> Doubt:
    """What was found where drugs were mixed in a small syringe."""
    found = use.row("dilution.small_syringe_dose_mg")
    return Doubt(
        "small-syringe",
        tr(
            "Do not mix in a syringe of {small:g} ml or less: {low:g} to {high:g} mg were found where 1 mg was meant.",
            small=use.number("dilution.small_syringe_ml"),
            low=found.low,
            high=found.high,
        ),
    )


class InfusionInput(Record):
    """An infusion by weight, such as mannitol."""

    weight_kg: Annotated[float, within("weight_kg")]
    g_per_kg: Annotated[float, within("g_per_kg")]
    strength_percent: Annotated[float, within("infusion_percent")]


class InfusionVolume(Record):
    """Amount and volume."""

    dose_g: float = Field(description="amount [g]")
    volume_ml: float = Field(description="volume of the infusion")
    ml_per_kg: float = Field(description="volume for each kg of body weight")


@calculation(
    "infusion-volume",
    summary="Volume of an infusion given by weight, such as mannitol",
    formula="dose = weight x g/kg; volume = dose / strength",
    valid="Arithmetic only: heart, kidney, age and hydration decide whether it is given at all",
    input=InfusionInput,
    output=InfusionVolume,
    example={"weight_kg": 60, "g_per_kg": 1.5, "strength_percent": 20},
)
def infusion_volume(given: InfusionInput, use: Reader) -> tuple[InfusionVolume, list[Doubt]]:
    """Volume by weight."""
    per = use.number("dilution.mg_per_ml_in_one_percent")
    made = infusion_engine.infusion(
        weight_kg=given.weight_kg,
        g_per_kg=given.g_per_kg,
        strength_mg_per_ml=given.strength_percent * per,
        mg_per_g=1000,
    )
    doubts = [
        Doubt(
            "mannitol-cautions",
            tr(
                "Mannitol: not in heart failure, kidney failure or dehydration; the frail get {g:g} g/kg; the published "
                "range is 1 to 2 g/kg.",
                g=use.number("drug.mannitol.frail_g_per_kg"),
            ),
        )
    ]
    return InfusionVolume(dose_g=made.dose_g, volume_ml=made.volume_ml, ml_per_kg=made.ml_per_kg), doubts


CALCULATIONS = (mixture, dose_band, infusion_volume)
