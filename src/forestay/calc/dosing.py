"""Calculations of preparing and limiting drugs."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.preparing import small_syringe_doubt
from forestay.dosing import anaesthetic
from forestay.dosing import dilution as engine
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.record import Record
from forestay.text import tr

ROUNDING = 1e-9
"""Relative slack, so that exactly the limit is within it."""

Drug = Literal["lidocaine", "bupivacaine", "levobupivacaine", "prilocaine", "ropivacaine"]


class DilutionInput(Record):
    """A stock solution, what is added, and how much of the mixture is given."""

    stock_mg_per_ml: Annotated[float, within("stock_mg_per_ml")]
    stock_ml: Annotated[float, within("stock_ml")]
    diluent_ml: Annotated[float, within("diluent_ml")]
    given_ml: Annotated[float, within("given_ml")]


class Dilution(Record):
    """Strength of the mixture and the dose in what is given."""

    final_mg_per_ml: float = Field(description="strength after dilution")
    dose_mg: float = Field(description="amount in the volume given")
    total_ml: float = Field(description="volume after dilution")


@calculation(
    "dilution",
    summary="Strength and dose of a drug diluted from stock",
    formula="final = stock x v / (v + diluent); dose = final x given",
    valid="Solutions whose volumes add up; a powder's displacement is not accounted for",
    input=DilutionInput,
    output=Dilution,
    example={"stock_mg_per_ml": 40, "stock_ml": 3, "diluent_ml": 13, "given_ml": 0.5},
)
def dilution(given: DilutionInput, use: Reader) -> tuple[Dilution, list[Doubt]]:
    """Strength and dose; more given than prepared is refused."""
    made = engine.dilute(
        stock_mg_per_ml=given.stock_mg_per_ml,
        stock_ml=given.stock_ml,
        diluent_ml=given.diluent_ml,
        given_ml=given.given_ml,
    )
    doubts = [
        Doubt(
            "displacement-not-counted",
            tr(
                "What a powder displaces is not counted: adding 7.5 ml to 750 mg of powder that displaces 0.5 ml "
                "changes the strength by {error:+.1%}.",
                error=use.number("dilution.displacement_example"),
            ),
        )
    ]
    if given.diluent_ml > 0 and made.total_ml <= use.number("dilution.small_syringe_ml"):
        doubts.append(small_syringe_doubt(use))
    return Dilution(final_mg_per_ml=made.final_mg_per_ml, dose_mg=made.dose_mg, total_ml=made.total_ml), doubts


class AnaestheticLimitInput(Record):
    """A local anaesthetic, the person's weight and the strength in the syringe."""

    drug: Drug = Field(description="local anaesthetic")
    weight_kg: Annotated[float, within("weight_kg")]
    concentration_percent: Annotated[float, within("concentration_percent")]
    with_adrenaline: bool = Field(description="the solution holds adrenaline")


class AnaestheticLimit(Record):
    """The most of this drug alone, in milligrams and in millilitres of this strength."""

    max_mg: float = Field(description="largest amount [mg]")
    max_ml: float = Field(description="the same as volume of this solution")


@calculation(
    "anaesthetic-limit",
    summary="The most of a local anaesthetic by weight",
    formula="max mg = mg/kg x weight, at most the limit at any weight; max ml = max mg / (10 mg/ml for each per cent)",
    valid="Adults in good health; one drug alone (in a mixture the sum of given / limit must not pass 1)",
    input=AnaestheticLimitInput,
    output=AnaestheticLimit,
    example={"drug": "lidocaine", "weight_kg": 60, "concentration_percent": 2, "with_adrenaline": False},
)
def anaesthetic_limit(given: AnaestheticLimitInput, use: Reader) -> tuple[AnaestheticLimit, list[Doubt]]:
    """The lower published limit, by weight and at any weight."""
    kind = "with_adrenaline" if given.with_adrenaline else "plain"
    most = f"anaesthetic.{kind}_most_mg.{given.drug}"
    found = anaesthetic.limit(
        mg_per_kg=use.number(f"anaesthetic.{kind}_mg_per_kg.{given.drug}"),
        most_mg=use.number(most) if most in use.evidence else None,
        weight_kg=given.weight_kg,
        strength_mg_per_ml=engine.strength_from_percent(
            given.concentration_percent, mg_per_ml_in_one_percent=use.number("dilution.mg_per_ml_in_one_percent")
        ),
    )
    doubts = [
        Doubt(
            "ideal-weight",
            tr("Above a body-mass index of 30 use the ideal weight, not the weight on the scale."),
        ),
        Doubt(
            "frailty",
            tr(
                "Age, frailty, heart or liver disease may ask for up to {cut:.0%} less: {less:.0f} mg.",
                cut=use.number("anaesthetic.frailty_cut"),
                less=found.max_mg * (1 - use.number("anaesthetic.frailty_cut")),
            ),
        ),
        Doubt(
            "mixtures-share-the-limit",
            tr("In a mixture the shares of each drug's limit add up and must not pass 1."),
        ),
    ]
    return AnaestheticLimit(max_mg=found.max_mg, max_ml=found.max_ml), doubts


class BlockPart(Record):
    """One solution of a block."""

    drug: Drug = Field(description="local anaesthetic")
    volume_ml: Annotated[float, within("given_ml")]
    concentration_percent: Annotated[float, within("concentration_percent")]
    with_adrenaline: bool = Field(default=False, description="the solution holds adrenaline")


class AnaestheticMixtureInput(Record):
    """The solutions of a block, and who gets it."""

    weight_kg: Annotated[float, within("weight_kg")]
    parts: tuple[BlockPart, ...] = Field(min_length=1, max_length=6, strict=False, description="solutions of the block")
    age_years: Annotated[float, within("age_years")] | None = None


class BlockShare(Record):
    """One solution against its own limit."""

    drug: str = Field(description="local anaesthetic")
    given_mg: float = Field(description="amount in the volume")
    max_mg: float = Field(description="most of this drug alone")
    share: float = Field(description="given / most")


class AnaestheticMixture(Record):
    """The block against the sum of its limits."""

    share: float = Field(description="sum of given / most over the drugs: within limits up to 1")
    within_limit: bool = Field(description="False: do not give this volume")
    largest_ml: float = Field(description="most of the same mixture")
    parts: tuple[BlockShare, ...] = Field(description="each drug")
    says: str = Field(description="the verdict in one sentence")


@calculation(
    "anaesthetic-mixture",
    summary="A block of one or more local anaesthetics against the sum of their limits",
    formula="share = sum of given / most; within limits up to 1; largest volume = volume / share",
    valid="One block at one time, adults in good health; amounts given elsewhere count as parts",
    input=AnaestheticMixtureInput,
    output=AnaestheticMixture,
    example={
        "weight_kg": 60,
        "parts": [
            {"drug": "lidocaine", "volume_ml": 5, "concentration_percent": 2},
            {"drug": "bupivacaine", "volume_ml": 5, "concentration_percent": 0.5},
        ],
    },
)
def anaesthetic_mixture(given: AnaestheticMixtureInput, use: Reader) -> tuple[AnaestheticMixture, list[Doubt]]:
    """The share of the limits that a block uses up."""
    per = use.number("dilution.mg_per_ml_in_one_percent")
    rows: list[BlockShare] = []
    doubts: list[Doubt] = []
    for part in given.parts:
        alone, doubts = anaesthetic_limit.function(
            AnaestheticLimitInput(
                drug=part.drug,
                weight_kg=given.weight_kg,
                concentration_percent=part.concentration_percent,
                with_adrenaline=part.with_adrenaline,
            ),
            use,
        )
        mg = part.volume_ml * part.concentration_percent * per
        rows.append(BlockShare(drug=part.drug, given_mg=mg, max_mg=alone.max_mg, share=mg / alone.max_mg))
    share = anaesthetic.share_of_limits([(r.given_mg, r.max_mg) for r in rows])
    volume = sum(p.volume_ml for p in given.parts)
    fits = share <= 1 + ROUNDING
    doubts = [d for d in doubts if d.code == "ideal-weight"] + [_frailty(use, volume / share)]
    if given.age_years is not None and given.age_years < use.number("act.adult_years"):
        doubts.append(
            Doubt("child", tr("A child: the limits were stated for adults; the anaesthetist settles the block."))
        )
    said = tr("{ml:g} ml use {share:.1%} of the limit at {kg:g} kg", ml=volume, share=share, kg=given.weight_kg)
    return AnaestheticMixture(
        share=share,
        within_limit=fits,
        largest_ml=volume / share,
        parts=tuple(rows),
        says=tr("{said}: within it.", said=said)
        if fits
        else tr("{said}: too much; at most {most:.1f} ml of this mixture.", said=said, most=volume / share),
    ), doubts


def _frailty(use: Reader, most_ml: float) -> Doubt:
    cut = use.number("anaesthetic.frailty_cut")
    return Doubt(
        "frailty",
        tr(
            "Age, frailty, heart or liver disease may ask for up to {cut:.0%} less: {less:.1f} ml.",
            cut=cut,
            less=most_ml * (1 - cut),
        ),
    )


CALCULATIONS = (dilution, anaesthetic_limit, anaesthetic_mixture)
