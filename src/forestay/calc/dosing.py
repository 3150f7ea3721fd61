"""Calculations of preparing and limiting drugs."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.dosing import anaesthetic
from forestay.dosing import dilution as engine
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.record import Record
from forestay.text import tr

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
        found = use.row("dilution.small_syringe_dose_mg")
        doubts.append(
            Doubt(
                "small-syringe",
                tr(
                    "Do not mix in a syringe of {small:g} ml or less: {low:g} to {high:g} mg were found where 1 mg was "
                    "meant.",
                    small=use.number("dilution.small_syringe_ml"),
                    low=found.low,
                    high=found.high,
                ),
            )
        )
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


CALCULATIONS = (dilution, anaesthetic_limit)
