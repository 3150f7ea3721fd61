"""The smaller choices, compared like the techniques: which anaesthetic, and where the incision lies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal

from forestay.evidence import Reader
from forestay.frame import hour_distance, meridian_deg, temporal_hour, wrap_hour
from forestay.plan.dominance import NORMAL_90_LIMIT, beaten_by
from forestay.plan.induced import before, expected_residual_d, induced_by
from forestay.plan.measures import LARGE
from forestay.plan.mirror import Frame
from forestay.plan.model import Option
from forestay.plan.model_compare import Comparison, Criterion, Way
from forestay.plan.offers import Offer, known, origin
from forestay.plan.ruleset import holding
from forestay.plan.words import ANAESTHETICS
from forestay.plan.words_clock import clock_text
from forestay.text import tr

State = Literal["chosen", "possible", "avoided", "not here"]
NOT_COMPARED = Comparison((), (), (), (), ())
"""Where nobody asks how the options compare."""
NEEDLES = ("peribulbar", "retrobulbar")


def anaesthesia(offer: Offer, view: Mapping[str, Any], use: Reader) -> tuple[Way, ...]:
    """Every anaesthetic: the chosen one, those that would do, those that a rule avoids or that are not given here."""
    seen = {**view, "option.technique": offer.technique, "measure.pupil_hooks": offer.measures.pupil_hooks}
    reasons: dict[str, list[str]] = {}
    for rule in holding("anaesthesia", "avoid", seen, use):
        for name in rule.data["anaesthetic"]:
            reasons.setdefault(str(name), []).append(rule.say("why", seen, use))
        rule.cite(use)
    first = next(iter(holding("anaesthesia", "choose", seen, use)), None)
    wanted = tuple(str(p) for p in first.data["prefer"]) if first else ()
    offered = offer.setting.case.theatre.anaesthesia
    rows = []
    for name, label in ANAESTHETICS.items():
        why = tuple(reasons.get(name, ()))
        state: State = "possible"
        if name == offer.measures.anaesthetic:
            state = "chosen"
            why = (first.say("why", seen, use),) if first and name in wanted else why
        elif why:
            state = "avoided"
        elif offered is not None and name not in offered:
            state, why = "not here", (tr("not given in this theatre"),)
        elif name not in wanted:
            why = (tr("not the first choice for this operation"),)
        rows.append(Way(name, tr(label), state, why, _hazards(name, use)))
    return tuple(rows)


def _hazards(name: str, use: Reader) -> tuple[Criterion, ...]:
    """Published hazards of a needle; a blunt cannula and drops have none of these."""
    if name not in NEEDLES:
        return ()
    labels = {
        "anaesthesia.needle_perforation": tr("perforation of the globe"),
        "anaesthesia.needle_brainstem": tr("effect on the brain stem"),
    }
    rows = []
    for key, label in labels.items():
        own = use.evidence.reader()
        row = own.row(key)
        use.merge(own)
        source = origin(own, formula=tr("published range, quoted"), inputs=(), valid=row.meaning)
        value = float(row.value)  # type: ignore[arg-type]
        rows.append(Criterion(key, label, value, row.low, row.high, "", "less", counts=False, origin=source))
    return tuple(rows)


def incisions(offer: Offer, frame: Frame) -> tuple[Way, ...]:
    """Places of the incision for this technique: what each induces and leaves, and what speaks against it."""
    temporal = temporal_hour("right")
    places = (12.0,) if offer.technique in LARGE else (12.0, wrap_hour((temporal + 12.0) / 2), temporal)
    m = offer.measures
    listed = places if m.tunnel_clock in places else (*places, m.tunnel_clock)
    return tuple(_place(offer, place, frame) for place in listed)


def _place(offer: Offer, place: float, frame: Frame) -> Way:
    setting, m = offer.setting, offer.measures
    own = setting.use.evidence.reader()
    induced = induced_by(
        offer.technique,
        clock=place,
        shape=m.tunnel_shape,
        length_mm=m.tunnel_outer_mm,
        use=own,
        own=setting.own_incisions,
    )
    setting.use.merge(own)
    against = []
    if setting.case.signs.filtering_bleb and place != temporal_hour("right"):
        against.append(tr("a working bleb lies above"))
    if any(hour_distance(place, gap) <= 1 for gap in setting.estimates.gap_hours):
        against.append(tr("it lies over the gap"))
    source = origin(
        own,
        formula=tr("flattening along the incision; left: root of |before + flattening|2 + 2 SD2"),
        inputs=known(place=tr("{clock} o'clock", clock=clock_text(frame.hour(place)))),
        valid=tr("mean and spread of published series by place and suture"),
        calculation="tunnel",
    )
    flattening, half = float(induced.flattening_d), NORMAL_90_LIMIT * induced.sd_d
    values = [
        Criterion("induced", tr("induced astigmatism"), flattening, flattening - half, flattening + half, "D", "less", counts=False, origin=source),
    ]  # fmt: skip
    if before(setting.case) is not None:
        left = expected_residual_d(setting.case, induced, meridian_deg(place))
        values.append(
            Criterion("astigmatism", tr("astigmatism left"), left, None, None, "D", "less", counts=True, origin=source)
        )
    state: State = "chosen" if place == m.tunnel_clock else "avoided" if against else "possible"
    label = tr("{clock} o'clock", clock=clock_text(frame.hour(place)))
    return Way(f"{frame.hour(place):g}", label, state, tuple(against), tuple(values))


def comparison_of(
    ranked: Sequence[Option], offer: Offer | None, view: Mapping[str, Any], frame: Frame, use: Reader
) -> Comparison:
    """Who is beaten outright, what remains, and the smaller choices of the option that comes first."""
    done = [o for o in ranked if o.criteria]
    beaten = beaten_by(done)
    lost = {b.option for b in beaten}
    unbeaten = tuple(o.technique for o in done if o.technique not in lost)
    says = tuple(b.says for b in beaten)
    if len(unbeaten) > 1:
        labels = ", ".join(o.label for o in done if o.technique in unbeaten)
        says += (tr("no clear winner by the measures alone: none of {labels} beats the others in all", labels=labels),)
    return Comparison(
        beaten=beaten,
        unbeaten=unbeaten,
        says=says,
        anaesthesia=anaesthesia(offer, view, use) if offer else (),
        incisions=incisions(offer, frame) if offer else (),
    )
