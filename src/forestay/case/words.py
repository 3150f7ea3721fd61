"""A fact in the plain words of the trade: ``length 22.4 mm, contact``, ``K 44.25 @ 5 · 45.00 @ 95``."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from forestay.case.bodies import (
    UNITS,
    Body,
    Decided,
    Done,
    Found,
    Happened,
    Measured,
    Planned,
    Seen,
    Signed,
    Sizes,
    Withdrawn,
)
from forestay.case.fields import PATHS, is_field, shown
from forestay.case.vocabulary import choices, decisions, flags, labels, things
from forestay.plan.take_over import SUBJECTS, decision_words
from forestay.text import tr

Values = dict[str, Any]


def say(body: Body) -> str:
    """One line in words for any body."""
    for kind, teller in _TELLERS:
        if isinstance(body, kind):
            return teller(body)
    raise TypeError(f"no words for {type(body).__name__}")


def _values(body: Any) -> str:
    """What was found stands before what was looked for and not found; else the order of the case file."""
    left = dict(sorted(body.values.items(), key=lambda item: PATHS.index(item[0])))
    told = [phrase for teller in _PHRASES if (phrase := teller(left))]
    told += [_plain(path, value) for path, value in sorted(left.items(), key=lambda item: item[1] in _ABSENT)]
    return " · ".join(told)


NOTE = "operation note"
"""Subject of the decision that keeps the text of the note; what follows the words numbers the additions."""
_ABSENT: tuple[Any, ...] = (False, "none", [], ())


def _plain(path: str, value: Any) -> str:
    """A value that no phrase joins with others: a yes or no sign, a word, or a label with its value."""
    if isinstance(value, bool):
        yes, no = flags()[path]
        return yes if value else no
    if isinstance(value, str):
        return choices().get((path, value)) or tr("{label} {value}", label=labels()[path], value=value)
    if isinstance(value, list | tuple) and all(isinstance(v, str) for v in value):
        value = [things().get(v, v) for v in value]
    return tr("{label} {value}", label=labels()[path], value=shown(path, value))


def _person(left: Values) -> str:
    age, sex = left.pop("person.age_years", None), left.pop("person.sex", None)
    who = {"female": tr("woman"), "male": tr("man"), "unknown": tr("sex not known")}.get(sex or "", "")
    told = [who, "" if age is None else tr("{age:g} years", age=age)]
    return ", ".join(word for word in told if word)


def _side(left: Values) -> str:
    side = left.pop("eye.side", None)
    return {"left": tr("left eye"), "right": tr("right eye")}.get(side or "", "")


def _length(left: Values) -> str:
    length, method = left.pop("biometry.axial_length_mm", None), left.pop("biometry.axial_length_method", None)
    told = [
        "" if length is None else tr("length {length:g} mm", length=length),
        _METHODS().get(method or "", ""),
    ]
    return ", ".join(word for word in told if word)


def _METHODS() -> dict[str, str]:  # noqa: N802 - a table in the reader's language
    return {
        "optical": tr("optical"),
        "ultrasound-immersion": tr("immersion"),
        "ultrasound-contact": tr("contact"),
        "ultrasound": tr("ultrasound"),
    }


def _keratometry(left: Values) -> str:
    readings = [_reading(left.pop(f"biometry.k{n}_d", None), left.pop(f"biometry.k{n}_axis_deg", None)) for n in (1, 2)]
    known = [reading for reading in readings if reading]
    return tr("K {readings}", readings=" · ".join(known)) if known else ""


def _reading(power_d: float | None, axis_deg: float | None) -> str:
    power = "" if power_d is None else f"{power_d:.2f}"
    return power if axis_deg is None else f"{power or '?'} @ {axis_deg:g}"


def _fellow(left: Values) -> str:
    known = {path: left.pop(path) for path in list(left) if path.startswith("fellow.")}
    if not known:
        return ""
    inner = {path.replace("fellow.", "biometry.", 1): known.pop(path) for path in list(known) if path.endswith("_d")}
    told = []
    refraction = inner.pop("biometry.refraction_d", None)
    planned = inner.pop("biometry.planned_refraction_d", None)
    length = known.pop("fellow.axial_length_mm", None)
    if length is not None:
        told.append(tr("length {length:g} mm", length=length))
    told.append(_keratometry(inner))
    if refraction is not None:
        told.append(tr("refraction {refraction:+.2f} D", refraction=refraction))
    if planned is not None:
        told.append(tr("aimed at {refraction:+.2f} D", refraction=planned))
    known |= {path.replace("biometry.", "fellow.", 1): value for path, value in inner.items()}
    told += [_plain(path, value) for path, value in known.items()]
    return tr("fellow eye: {what}", what=" · ".join(word for word in told if word))


def _lens(left: Values) -> str:
    appearance, grade = left.pop("lens.appearance", None), left.pop("lens.grade", None)
    told = [
        "" if appearance is None else choices()["lens.appearance", appearance],
        "" if grade is None else tr("grade {grade:g}", grade=grade),
    ]
    return ", ".join(word for word in told if word)


def _gaps(left: Values) -> str:
    hours = left.pop("signs.dialysis_clock_hours", None)
    if hours is None:
        return ""
    return tr("gap seen at {hours}", hours=_hours(hours)) if hours else tr("no gap seen")


def _hours(hours: Iterable[float]) -> str:
    words = [f"{hour:g}" for hour in hours]
    return words[0] if len(words) == 1 else tr("{first} and {last}", first=", ".join(words[:-1]), last=words[-1])


def _target(left: Values) -> str:
    refraction = left.pop("target.refraction_d", None)
    constant = left.pop("target.lens_constant", None)
    told = ["" if refraction is None else tr("target {refraction:+.2f} D", refraction=refraction)]
    if constant is not None:
        a, method = constant.get("a"), constant.get("method")
        told.append(tr("lens constant A {a}", a="?" if a is None else f"{a:g}"))
        told.append(_METHODS().get(method or "", ""))
    return ", ".join(word for word in told if word)


_PHRASES: tuple[Callable[[Values], str], ...] = (
    _person,
    _side,
    _fellow,
    _length,
    _keratometry,
    _lens,
    _gaps,
    _target,
)


def _decided(body: Any) -> str:
    choice = body.choice
    if body.subject.startswith(NOTE):
        return tr("operation note kept") if body.subject == NOTE else tr("addition to the operation note kept")
    what = _decision(body.subject, choice)
    told = tr("{what}: {reason}", what=what, reason=body.reason)
    if not body.turned_down:
        return told
    return tr("{told}; turned down: {what}", told=told, what=tr("; ").join(body.turned_down))


def _decision(subject: str, choice: Any) -> str:
    if is_field(subject):
        return _values(Found(values={subject: choice}))
    if subject in SUBJECTS and isinstance(choice, str):
        value = decision_words(subject, choice)
    else:
        value = things().get(choice, choice) if isinstance(choice, str) else shown("", choice)
    pattern = decisions().get(subject)
    return pattern.format(value=value) if pattern else tr("{subject}: {value}", subject=subject, value=value)


def _done(body: Any) -> str:
    what = tr("{step}, by {who}", step=body.step, who=body.by)
    return " · ".join([what, *_sizes(body.sizes), *body.devices])


def _happened(body: Any) -> str:
    what = body.note if body.note and body.event == "other" else things()[body.event]
    if body.note and body.event != "other":
        what = tr("{event} ({note})", event=what, note=body.note)
    if body.step:
        what = tr("{event} at {step}", event=what, step=body.step)
    if body.clock_hours:
        what = tr("{event}, {hours} o'clock", event=what, hours=_hours(body.clock_hours))
    return " · ".join([what, *_sizes(body.sizes)])


def _sizes(sizes: Sizes) -> list[str]:
    return [_size(name, value) for name, value in sizes.items()]


def _size(name: str, value: float) -> str:
    ending = next((ending for ending in UNITS if name.endswith(ending)), "")
    what = name.removesuffix(ending).replace("_", " ").strip()
    return f"{what} {value:g} {UNITS.get(ending, '')}".strip()


def _seen(body: Any) -> str:
    told = [tr("day {day}", day=body.day)]
    acuity = body.acuity or (None if body.acuity_logmar is None else tr("{v:g} logMAR", v=body.acuity_logmar))
    if acuity:
        told.append(tr("acuity {acuity}, {type}", acuity=acuity, type=things()[body.acuity_type]))
    if body.pressure_mmhg is not None:
        told.append(tr("pressure {pressure:g} mmHg", pressure=body.pressure_mmhg))
    if body.refraction_d is not None:
        told.append(tr("refraction {refraction:+.2f} D", refraction=body.refraction_d))
    if body.cylinder_d is not None:
        axis = "" if body.cylinder_axis_deg is None else f" @ {body.cylinder_axis_deg:g}"
        told.append(tr("cylinder {cylinder:.2f} D{axis}", cylinder=body.cylinder_d, axis=axis))
    ks = {f"biometry.{name}": value for name in _K_NAMES if (value := getattr(body, name)) is not None}
    told.append(_keratometry(ks))
    for path in ("biometry.corneal_thickness_um", "biometry.endothelial_count_per_mm2"):
        value = getattr(body, path.partition(".")[2])
        if value is not None:
            told.append(_plain(path, value))
    return " · ".join(word for word in told if word)


_K_NAMES = ("k1_d", "k1_axis_deg", "k2_d", "k2_axis_deg")


def _planned(body: Any) -> str:
    return tr("plan kept, made by version {version}", version=body.engine_version)


def _signed(body: Any) -> str:
    return tr("signed, head {head}", head=body.head[:8])


def _withdrawn(body: Any) -> str:
    return tr("taken back: {why}", why=body.why)


_TELLERS: tuple[tuple[type[Body], Callable[[Any], str]], ...] = (
    (Measured, _values),
    (Found, _values),
    (Decided, _decided),
    (Done, _done),
    (Happened, _happened),
    (Seen, _seen),
    (Planned, _planned),
    (Signed, _signed),
    (Withdrawn, _withdrawn),
)
