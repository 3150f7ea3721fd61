"""A review in words: names of what is counted, sentences under each chart, and the whole as plain text."""

from __future__ import annotations

from forestay.learning.predictions import ChanceScore
from forestay.review.complications import Count, Spacing, Sums
from forestay.review.refraction import OwnConstant, Stratum
from forestay.text import tr


def names() -> dict[str, str]:
    """What each counted thing is called."""
    return {
        "rupture": tr("capsule rupture (with or without vitreous) or torn zonule with vitreous"),
        "capsule-torn": tr("posterior capsule torn"),
        "zonule-torn": tr("zonule torn"),
        "vitreous": tr("vitreous in the chamber"),
        "lens-matter-lost": tr("lens matter lost behind"),
        "rhexis-torn": tr("anterior capsule torn"),
        "choroidal-haemorrhage": tr("choroidal haemorrhage"),
        "technique-changed": tr("technique changed"),
        "any-in-surgery": tr("any complication recorded"),
        "infection": tr("infection inside the eye"),
        "bag": tr("in the bag, no complication"),
        "bag-complicated": tr("in the bag, after a complication"),
        "elsewhere": tr("elsewhere than the bag"),
        "uncorrected": tr("uncorrected"),
        "pinhole": tr("pinhole"),
        "habitual": tr("with own glasses"),
        "best-corrected": tr("best corrected"),
        "capsulorhexis_mm": tr("capsulorhexis"),
        "tunnel_outer_mm": tr("outer lip of the tunnel"),
        "tunnel_inner_mm": tr("inner lip of the tunnel"),
        "tunnel_clock": tr("clock hour of the tunnel"),
        "hooks_count": tr("hooks in the pupil"),
        "ring": tr("tension ring"),
        "capsule-hooks": tr("capsule hooks"),
        "pupil-hooks": tr("pupil hooks"),
        "brown-or-white": tr("brown or white lens"),
        "pseudoexfoliation": tr("pseudoexfoliation"),
        "phacodonesis": tr("lens trembles"),
        "glaucoma": tr("glaucoma"),
        "no-fundus-view": tr("no view of the fundus"),
        "only-eye": tr("only eye"),
    }


def named(name: str) -> str:
    """The name of a counted thing; what has none keeps its own."""
    return names().get(name, name.replace("-", " "))


def count_line(count: Count) -> str:
    """One complication: counts, interval, expected."""
    line = tr(
        "{name}: {events} of {n}, {rate:.2%} ({low:.2%} to {high:.2%})",
        name=named(count.name),
        events=count.events,
        n=count.n,
        rate=count.rate,
        low=count.exact[0],
        high=count.exact[1],
    )
    if count.expected is not None and count.ratio is not None:
        line += tr("; expected {expected:.1f}, ratio {ratio:.2f}", expected=count.expected, ratio=count.ratio)
    return line


def stratum_line(stratum: Stratum) -> str:
    """Refraction errors of one stratum."""
    if stratum.errors is None:
        return tr("{name}: {n} eyes, too few to show", name=named(stratum.name), n=stratum.n)
    e = stratum.errors
    line = tr(
        "{name}: {n} eyes, mean error {mean:+.2f} ± {half:.2f} D, SD {sd:.2f} D, within 0.5 D {one:.0%}, within 1 D {two:.0%}",
        name=named(stratum.name),
        n=stratum.n,
        mean=e.mean,
        half=stratum.half_width_d or 0.0,
        sd=e.sd or 0.0,
        one=e.within[0],
        two=e.within[1],
    )
    if stratum.coverage is not None:
        line += tr("; the told 95 % interval held in {share:.0%}", share=stratum.coverage)
    return line


def constant_line(own: OwnConstant) -> str:
    """An own lens constant."""
    value = ", ".join(f"{key} {number:.2f}" for key, number in own.constant.items())
    return tr(
        "{lens}, {method}, {formula}: own constant {value} from {n} eyes; mean error {mean:+.2f} ± {half:.2f} D; own eyes "
        "weigh {weight:.0%}",
        lens=own.lens,
        method=own.length_method,
        formula=own.formula,
        value=value,
        n=own.n,
        mean=own.mean_error_d,
        half=own.half_width_d,
        weight=own.own_weight,
    )


def sums_sentence(sums: Sums) -> str:
    """What the chart of sums means, and what it does not."""
    said = (
        tr("The sum reached its limit at case {cases}.", cases=", ".join(str(i + 1) for i in sums.signals))
        if sums.signals
        else tr("The sum has not reached its limit.")
    )
    return (
        said
        + " "
        + tr(
            "It rises with each rupture by more the less it was expected, and falls with each clean case. With this case-mix "
            "a false alarm comes about every {away:.0f} cases, and a doubling of the odds is found after about {near:.0f}. "
            "A signal asks to look at the cases; it does not say why, and no signal does not prove that all is well.",
            away=sums.false_alarm_every,
            near=sums.found_after,
        )
    )


def spacing_sentence(spacing: Spacing) -> str:
    """What the gaps between ruptures mean."""
    return tr(
        "{since} cases since the last rupture. At {rate:.2%} half of the gaps are shorter than {median:.0f} cases, and one "
        "in about 740 is longer than {high:.0f}. A long gap is good news; a short one says little.",
        since=spacing.since_last,
        rate=spacing.rate,
        median=spacing.median,
        high=spacing.high,
    )


def scored_sentence(scored: ChanceScore) -> str:
    """How well the told risks agreed."""
    said = tr(
        "{events} ruptures where {expected:.1f} were told, ratio {ratio:.2f}; Brier score {brier:.4f}.",
        events=scored.events,
        expected=scored.expected,
        ratio=scored.events / scored.expected,
        brier=scored.brier,
    )
    if scored.enough and scored.slope is not None:
        return (
            said
            + " "
            + tr(
                "Slope of calibration {slope:.2f} (1 is right; below 1 the told risks are too extreme).",
                slope=scored.slope,
            )
        )
    return said + " " + tr("Too few ruptures for a curve or a new model: the ratio is all that they allow.")
