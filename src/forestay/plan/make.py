"""``make(situation, context) -> Plan``: the one entry. Facts in, the whole plan out; nothing is read or kept elsewhere."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from forestay import __version__
from forestay.answer import unique
from forestay.evidence import Reader
from forestay.eye.plausibility import refuse_if_needed
from forestay.eye.records import CaseFile
from forestay.eye.situation import Decisions, Progress, Situation
from forestay.plan import margins_back, margins_front, margins_tunnel
from forestay.plan.astigmatism_part import astigmatism_plan
from forestay.plan.choose import Verdict, choose, judge, leaders, rank
from forestay.plan.consistency import check
from forestay.plan.context import Context
from forestay.plan.cue_findings import with_findings
from forestay.plan.deciding import decide, verdict_of
from forestay.plan.dominance import criteria_of, elsewhere, lacking_kit, needed_kit
from forestay.plan.doubt_groups import count_shown, grouped
from forestay.plan.drawing import drawing_of
from forestay.plan.estimates import kept_estimate
from forestay.plan.events import from_here, states_of
from forestay.plan.lens_part import lens_plan
from forestay.plan.lens_shift import with_displacement
from forestay.plan.listing import estimates_listed, eye_listed, unsaid_doubts
from forestay.plan.margins_zonule import loads_of, zonule_margins
from forestay.plan.measures import measures_for
from forestay.plan.mirror import Frame, to_frame
from forestay.plan.model import Check, Chosen, LensPlan, Margin, Measures, Option, Plan, Unassessed
from forestay.plan.now import now_of
from forestay.plan.offers import Offer
from forestay.plan.risks import risks_of, told_first
from forestay.plan.ruleset import holding
from forestay.plan.sections import after, conflicts, consent, fallbacks, steps, stops
from forestay.plan.setting import Setting
from forestay.plan.supports import ring_rest_of, supports_of
from forestay.plan.theatre_findings import finding_changes
from forestay.plan.trolley import allergy_stops, doses, kit
from forestay.plan.views import check_view, eye_view, measure_view
from forestay.plan.ways import NOT_COMPARED, comparison_of
from forestay.plan.words import TECHNIQUES, words_for
from forestay.plan.zonule_loads import Loads
from forestay.text import tr, translation_doubt

ALL_TECHNIQUES = ("manual-small-incision", "phacoemulsification", "extracapsular", "intracapsular")
ALL_ANAESTHETICS = ("topical", "sub-tenon", "peribulbar", "retrobulbar", "general")


def caution() -> str:
    """The standing caution of every page and sheet."""
    standing = tr(
        "Decision support for trained surgeons, not a medical device. Check every value against the record and the "
        "lens box. Local protocols and licensed judgement decide."
    )
    return f"{standing} {translation_doubt()}".rstrip()


def make(situation: Situation, context: Context) -> Plan:
    """The plan for one situation.

    Raises :class:`~forestay.errors.RefusedFinding` where a value forbids planning. Everything else that is missing or
    doubtful widens intervals and stands among the doubts.
    """
    situation = situation.as_tried()
    case = situation.case
    use = context.evidence.reader()
    findings = check(case, use=use)
    refuse_if_needed(findings)
    turned, decisions, frame = to_frame(case, situation.decisions)
    setting = _setting(turned, decisions, context, use, situation.progress)
    view = eye_view(case, setting) | check_view(findings)
    ranked, verdicts, offers, loads = _options(setting, view, frame, context)
    best = next((o for o in ranked if o.technique in offers), None)
    checks = tuple(Check(f.field, f.value, f.level, f.why, f.source) for f in findings)
    return _assemble(situation, context, _Work(setting, frame, view, ranked, verdicts, offers, loads, checks), best)


def _setting(case: CaseFile, decisions: Decisions, context: Context, use: Reader, progress: Progress) -> Setting:
    """The estimates of a case in the working frame, with the practice's own figures."""
    practice = context.practice
    estimates, rows = kept_estimate(case, context.draws, practice.zonule_ratios, use.evidence)
    use.merge(rows)
    return Setting(case, estimates, decisions, use, practice.incisions, now_of(progress, use))


@dataclass(frozen=True)
class _Work:
    """What is known once the options are compared."""

    setting: Setting
    frame: Frame
    view: dict[str, Any]
    ranked: tuple[Option, ...]
    verdicts: dict[str, Verdict]
    offers: dict[str, Offer]
    loads: dict[str, Loads]
    checks: tuple[Check, ...]

    @property
    def use(self) -> Reader:
        """The reader of the whole plan."""
        return self.setting.use


def _options(
    setting: Setting, view: dict[str, Any], frame: Frame, context: Context
) -> tuple[tuple[Option, ...], dict[str, Verdict], dict[str, Offer], dict[str, Loads]]:
    """Every technique of this theatre with measures, margins and risks, and referral; in order of rank.

    While a control moves (``context.searching`` False) only techniques that may come first get margins.
    """
    use, case = setting.use, setting.case
    offered = case.theatre.techniques or ALL_TECHNIQUES
    verdicts = {t: judge(t, view, use) for t in offered}
    leading = leaders(verdicts, setting.decisions.technique)
    offers: dict[str, Offer] = {}
    loads: dict[str, Loads] = {}
    options = []
    for technique in offered:
        verdict = verdicts[technique]
        if context.looking and technique not in leading:  # under a moving hand: it cannot come first
            options.append(_option(technique, None, (), (), verdict.why, available=verdict.excluded is None))
            continue
        measures = measures_for(setting, technique, None)
        measures = replace(measures, anaesthetic=_anaesthetic(setting, measures, view, use))
        offer = Offer(setting, measures, context)
        if verdict.excluded is not None and technique != setting.decisions.technique:
            options.append(
                _option(technique, None, (), (), (tr("ruled out: {why}", why=verdict.excluded),), available=True)
            )
            continue
        offers[technique] = offer
        margins: tuple[Margin, ...] = ()
        lacking: tuple[Unassessed, ...] = ()
        if (context.searching or technique in leading) and (len(leading) > 1 or not context.deciding):
            loads[technique] = loads_of(offer, drawn=context.searching)
            margins, lacking = _margins(offer, loads[technique])
        option = _option(technique, _outward(measures, frame), margins, risks_of(offer), verdict.why, available=True)
        options.append(
            replace(
                option,
                unassessed=lacking,
                criteria=()
                if context.deciding or context.looking
                else criteria_of(offer, option.risks, margins if technique in loads else None),
                kit=needed_kit(offer),
                lacks=lacking_kit(offer),
            )
        )
    options.append(_option("referral", None, (), (), elsewhere(setting), available=True))
    ranked = (from_here(o, setting.now, use) for o in rank(options, verdicts, setting.decisions.technique))
    return tuple(ranked), verdicts, offers, loads


def outcome(situation: Situation, context: Context) -> tuple[str, str]:
    """Decision and technique of :func:`make`, without the rest of the plan: for asking it many times."""
    situation, context = situation.as_tried(), replace(context, searching=False, deciding=True)
    use = context.evidence.reader()
    findings = check(situation.case, use=use)
    refuse_if_needed(findings)
    turned, decisions, frame = to_frame(situation.case, situation.decisions)
    setting = _setting(turned, decisions, context, use, situation.progress)
    view = eye_view(situation.case, setting) | check_view(findings)
    ranked, _, offers, _ = _options(setting, view, frame, context)
    best = next((o for o in ranked if o.technique in offers), None)
    offer = offers[best.technique] if best else None
    seen = view | {"option.count": float(len(offers))} | (measure_view(offer) if offer else {})
    no_lens = LensPlan(None, None, None, 0.0, (), ())
    seen |= _said(words_for(setting, offer.measures if offer else None, no_lens, frame))
    decided = verdict_of(seen, use)
    gone = best is None or decided in ("refer", "do-not-operate")
    return decided, "referral" if gone or best is None else best.technique


def _option(
    technique: str,
    measures: Measures | None,
    margins: Sequence[Margin],
    risks: Sequence[Any],
    why: Sequence[str],
    *,
    available: bool,
) -> Option:
    return Option(
        technique=technique,
        label=tr(TECHNIQUES[technique]),
        measures=measures,
        margins=tuple(margins),
        risks=tuple(risks),
        rank=0,
        why=tuple(why),
        available=available,
    )


def _anaesthetic(setting: Setting, measures: Measures, view: dict[str, Any], use: Reader) -> str | None:
    """The first anaesthetic that a rule prefers, this theatre offers and no rule avoids."""
    seen = view | {
        "option.technique": measures.technique,
        "measure.pupil_hooks": measures.pupil_hooks,
    }
    avoided = {a for r in holding("anaesthesia", "avoid", seen, use) for a in r.data["anaesthetic"]}
    offered = [a for a in setting.case.theatre.anaesthesia or ALL_ANAESTHETICS if a not in avoided]
    for rule in holding("anaesthesia", "choose", seen, use):
        for wanted in rule.data["prefer"]:
            if wanted in offered:
                return str(wanted)
    return None


def _margins(offer: Offer, loads: Loads) -> tuple[tuple[Margin, ...], tuple[Unassessed, ...]]:
    """All margins of an option, and those that lack input."""
    found, lacking = [], []
    lacks = offer.setting.estimates.lacks
    makers = (*margins_front.MARGINS, *margins_tunnel.MARGINS, *margins_back.MARGINS)
    for maker in makers:
        margin = maker(offer)
        key = maker.__name__.removesuffix("_margin")
        if margin is not None:
            found.append(margin)
        elif lacks.get(key):
            lacking.append(Unassessed(tr(key), lacks[key]))
    found += zonule_margins(offer, loads)
    return tuple(found), tuple(lacking)


def _outward(measures: Measures, frame: Frame) -> Measures:
    """Measures in the eye's own clock hours."""
    return replace(
        measures,
        hook_clocks=frame.hours(measures.hook_clocks),
        capsule_hook_clocks=frame.hours(measures.capsule_hook_clocks),
        tunnel_clock=frame.hour(measures.tunnel_clock),
        ring_gap_clock=None if measures.ring_gap_clock is None else frame.hour(measures.ring_gap_clock),
    )


def _assemble(situation: Situation, context: Context, work: _Work, best: Option | None) -> Plan:
    case, use, setting = situation.case, work.use, work.setting
    offer = work.offers[best.technique] if best else None
    lens, lens_doubts = lens_plan(offer or _bare_offer(setting, context))
    loads = work.loads.get(best.technique) if best and not context.looking else None
    if offer and loads is not None:
        clock = None if loads.displacement_clock is None else work.frame.hour(loads.displacement_clock)
        lens, more = with_displacement(
            lens, case=case, offer=offer, displacement_mm=loads.displacement_mm, displacement_clock=clock
        )
        lens_doubts += more
    view = dict(work.view) | {"option.count": float(len(work.offers))}
    if offer is not None:
        view |= measure_view(offer)
    view |= _said(words_for(setting, offer.measures if offer else None, lens, work.frame))
    barred = (*stops(view, use), *allergy_stops(view, use))
    keys = frozenset(s.key for s in barred)
    view |= _said(words_for(setting, offer.measures if offer else None, lens, work.frame, keys))
    view |= _risk_words(best)
    trolley = kit(view, use, context.devices, context.today)
    decision = decide(
        view,
        work.checks,
        trolley["items"],
        chosen=best.label if best else "",
        margins=best.margins if best else (),
        use=use,
    )
    if decision.decision == "do-not-operate":
        why = tr("no lens: the eye is not operated for sight")
        lens, lens_doubts = LensPlan(None, None, None, lens.target_d, (), (why,)), []
    chosen = _chosen(decision.decision, work, best, None if context.looking else use)
    operating = decision.decision in ("operate", "operate-later") and best is not None
    technique = best.technique if best and operating else "referral"
    astigmatism, astigmatism_doubts = astigmatism_plan(offer or _bare_offer(setting, context), work.frame)
    searched = operating and context.searching
    changes = finding_changes(case, use, context.practice.zonule_ratios) if searched else ()
    supports = supports_of(offer, work.frame) if offer and searched else ()
    below = not context.looking
    compared = comparison_of(work.ranked, offer, view, work.frame, use) if below else NOT_COMPARED
    todo, sharing = steps(technique, view, use, situation, setting.now)
    doubts = [*unsaid_doubts(case), *sharing, *setting.estimates.doubts, *lens_doubts, *astigmatism_doubts]
    made = Plan(
        decision=decision,
        eye=eye_listed(case),
        checks=work.checks,
        estimates=estimates_listed(setting, work.frame),
        options=work.ranked,
        chosen=chosen,
        margins=best.margins if best else (),
        unassessed=best.unassessed if best else (),
        lens=lens,
        astigmatism=astigmatism,
        steps=()
        if decision.decision == "do-not-operate"
        else with_findings(todo, changes, offer if searched else None, case, work.frame),
        kit=trolley if operating else {"items": (), "missing": ()},
        doses=doses(view, use, keys, context.devices, context.today) if operating and below else (),
        fallbacks=fallbacks(view, use) if operating and below else (),
        stops=barred,
        conflicts=conflicts(view, use) if operating and below else (),
        comparison=compared,
        consent=consent(view, use) if below else (),
        after=after(view, use),
        doubts=(),
        sources=(),
        version=version(context),
        caution=caution(),
        measures=best.measures if best else None,
        drawing=drawing_of(case, setting, offer, work.loads.get(best.technique) if best else None, work.frame),
        finding_changes=changes,
        ring_rest=ring_rest_of(work.loads.get(best.technique) if best else None, work.frame),
        supports=supports,
        happened=states_of(setting.now, use),
        decided=situation.decisions.model_dump(exclude_none=True, mode="json"),
        disagreements=tuple({"field": d.field, "values": d.values} for d in situation.disagreements),
    )
    if context.looking:
        return made
    count_shown(use, work.ranked)
    return replace(  # now that every part has read its rows
        made,
        doubts=unique([*doubts, *use.doubts()]),
        doubt_groups=grouped(use, _argued_first(work.ranked, chosen)),
        sources=tuple(use.sources()),
    )


def _argued_first(ranked: Sequence[Option], chosen: Chosen) -> list[Option]:
    """The options with the choice and its rival before the others."""
    return sorted(ranked, key=lambda o: (o.technique != chosen.technique, o.technique != chosen.next_best, o.rank))


def _bare_offer(setting: Setting, context: Context) -> Offer:
    return Offer(setting, measures_for(setting, "manual-small-incision", None), context)


def _said(words: dict[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in words.items() if v is not None}


def _risk_words(best: Option | None) -> dict[str, Any]:
    """What is said of capsule and vitreous before consent: a series that leads, and what the model gives."""
    found = (
        {}
        if best is None
        else {"lead": told_first(best.risks)}
        | {"risk": next((r for r in best.risks if r.name == "capsule-rupture"), None)}
    )
    return {
        f"words.{name}_sentence": tr(
            "{label} {p:.1%} ({low:.1%} to {high:.1%})",
            label=risk.label,
            p=risk.probability,
            low=risk.low,
            high=risk.high,
        )
        for name, risk in found.items()
        if risk is not None and (name == "risk" or risk.leads)
    }


def _chosen(verdict: str, work: _Work, best: Option | None, use: Reader | None) -> Chosen:
    """The choice; referral where the decision or the lack of any option says so. Not argued without ``use``."""
    if best is None or verdict in ("refer", "do-not-operate"):
        nearest = best.technique if best else None
        why = (
            tr("the decision is not to operate here")
            if verdict != "do-not-operate"
            else tr("the decision is not to operate for sight")
        )
        return Chosen("referral", clear=True, why=(why,), next_best=nearest)
    if use is None:
        return Chosen(best.technique, clear=True, why=(), next_best=None)
    ranked = sorted(work.ranked, key=lambda o: (o.technique not in work.offers, o.rank))
    return choose(ranked, work.verdicts, work.setting.decisions.technique, use)


def version(context: Context) -> dict[str, str]:
    """What made this plan: engine version and the digests of evidence, practice and context."""
    shelf = context.lenses.model_dump_json() if context.lenses else ""
    context_digest = hashlib.sha256(
        f"{context.evidence.digest}:{context.practice.digest}:{context.draws.count}:{context.today or ''}"
        f":{context.devices.digest if context.devices else ''}:{shelf}".encode()
    ).hexdigest()
    made_by = {
        "engine": __version__,
        "evidence": context.evidence.digest,
        "practice": context.practice.digest,
        "context": context_digest,
        "draws": str(context.draws.count),
    }
    return made_by | ({"settings": context.settings} if context.settings else {})
