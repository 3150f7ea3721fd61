"""Words about hooks of iris and capsule: their stabs, how far they are drawn, when they let go, come back and out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from forestay.eye.records import CaseFile
from forestay.frame import hour_distance
from forestay.plan.iris_hooks import circle_in_view_mm
from forestay.plan.measures import BESIDE_TUNNEL_HOURS, pupil_is_short, under_pressure
from forestay.plan.mirror import Frame
from forestay.plan.model import Measures
from forestay.plan.setting import Setting
from forestay.plan.words_clock import hours_text
from forestay.text import tr


def hook_words(setting: Setting, measures: Measures, frame: Frame) -> dict[str, Any]:
    """Everything that rules say about the hooks of these measures."""
    hooks = frame.hours(measures.hook_clocks)
    capsule = frame.hours(measures.capsule_hook_clocks)
    return {
        "words.hook_hours": hours_text(hooks) if hooks else None,
        "words.hook_ports": _hook_ports(hooks, capsule, frame.hour(measures.tunnel_clock)),
        "words.hook_draw": _hook_draw(setting, measures),
        "words.more_hooks": _more_hooks(setting, measures),
        "words.hooks_why": _hooks_why(setting, measures),
        "words.hooks_out": _hooks_out(measures),
        "words.capsule_hook_hours": hours_text(capsule) if capsule else None,
        "words.counts": tr(", {count:d} hooks", count=len(hooks) + len(capsule)) if hooks or capsule else "",
        "words.release": _release(measures, frame),
        "words.hooks_again": _hooks_again(measures, frame),
        "words.half_slack": _half_slack(setting, measures),
        "words.under_iris": _under_iris(setting.case),
    }


def _under_iris(case: CaseFile) -> str:
    """What an opening wider than the view may do: run under the iris in sight of its edge, or not at all."""
    if under_pressure(case):
        return tr("keep the opening inside what is seen; wider only once the pressure is off and under new OVD")
    return tr("open the capsule under the iris only in sight of its edge")


def _half_slack(setting: Setting, measures: Measures) -> str:
    """The pupil on taut hooks against the nucleus that is to come through it."""
    view = circle_in_view_mm(setting, measures.pupil_hooks, measures.hook_reach_mm, measures.tunnel_clock)
    nucleus = setting.estimates.nucleus_diameter.centre
    if not measures.pupil_hooks or view is None or view >= nucleus:
        return ""
    return tr("Iris hooks half slack first. ")


def _hooks_again(measures: Measures, frame: Frame) -> str:
    """The view again, once the nucleus is out: what was slackened is drawn, what was taken out is put back."""
    if not measures.pupil_hooks or measures.technique != "manual-small-incision":
        return ""
    beside = _beside_tunnel(measures)
    if not beside:
        return tr("Draw the iris hooks again. ")
    hours = hours_text(frame.hours(beside))
    return tr("Iris hooks at {hours} back in, all taut. ", hours=hours)


def _beside_tunnel(measures: Measures) -> tuple[float, ...]:
    return tuple(c for c in measures.hook_clocks if hour_distance(c, measures.tunnel_clock) <= BESIDE_TUNNEL_HOURS)


def _hook_ports(hooks: Sequence[float], capsule: Sequence[float], tunnel_at: float) -> str:
    said = ""
    if hooks:
        said += tr("; stabs for iris hooks at {hours}, aimed at the pupil's edge", hours=hours_text(hooks))
    if any(hour_distance(hook, tunnel_at) == 0 for hook in hooks):
        said += tr(", the one at {hour} in front of the groove", hour=hours_text((tunnel_at,)))
    if capsule:
        said += tr("; stabs for capsule hooks at {hours}, aimed at the rim", hours=hours_text(capsule))
    return said


def _hook_draw(setting: Setting, measures: Measures) -> str:
    now, reach = setting.estimates.pupil, measures.hook_reach_mm
    if reach is None or now is None:
        return ""
    if reach <= now.centre / 2:
        return tr("Just taut at the pupil's edge, not drawn: they hold it open if the iris gives way")
    return tr("Draw them one after another to {mm:.1f} mm from the centre", mm=reach)


def _more_hooks(setting: Setting, measures: Measures) -> str:
    use = setting.use
    if setting.lacks_kit("iris-hooks"):
        return tr("no iris hooks are here: a second instrument holds the iris aside")
    if not measures.pupil_hooks:
        return tr("{count:.0f} iris hooks", count=use.number("size.hooks_least"))
    if measures.pupil_hooks >= use.number("size.hooks_most"):
        return tr("draw the hooks further, to {mm:.1f} mm at the most", mm=use.number("size.hook_reach_high_mm"))
    return tr("one more iris hook ({count:d} in all)", count=measures.pupil_hooks + 1)


def _hooks_why(setting: Setting, measures: Measures) -> str | None:
    now = setting.case.signs.pupil_dilated_mm
    if now is None or measures.capsulorhexis_mm is None:
        return None
    if not pupil_is_short(setting, measures) and setting.case.signs.alpha_blocker:
        return tr("alpha-blocker: a pupil of {mm:.1f} mm may come down", mm=now)
    return tr("pupil of {mm:.1f} mm against an opening of {rhexis:.1f} mm", mm=now, rhexis=measures.capsulorhexis_mm)


def _hooks_out(measures: Measures) -> str | None:
    if measures.pupil_hooks and measures.capsule_hook_clocks:
        return tr("With the lens in place: capsule hooks off the rim first, then the iris hooks, under OVD.")
    if measures.capsule_hook_clocks:
        return tr("With the lens in place: capsule hooks off the rim, one after another, under OVD.")
    return tr("With the lens in place: iris hooks out, one after another, under OVD.") if measures.pupil_hooks else None


def _release(measures: Measures, frame: Frame) -> str:
    """Which hooks let go before the nucleus passes: those at the tunnel come out, the others go slack."""
    beside = _beside_tunnel(measures)
    said = []
    if beside:
        said.append(tr("Take out the iris hooks at the tunnel ({hours}).", hours=hours_text(frame.hours(beside))))
    if measures.pupil_hooks > len(beside):
        said.append(tr("Slacken the other iris hooks.") if beside else tr("Slacken the iris hooks."))
    if measures.capsule_hook_clocks:
        said.append(
            tr("Take the capsule hooks off the rim: the nucleus lies over them. Back on for cortex if the bag sags.")
        )
    return " ".join(said)
