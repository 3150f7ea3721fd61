"""The patient's sheet: plain words, so many of 1,000 people, every figure with its source, and its paper."""

from __future__ import annotations

import io
import json
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from forestay.cli.main import run
from forestay.demo import NAMES, demo_bytes
from forestay.draw.icons import icon_array
from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.plan.consent_figures import ConsentSheet, Figure, consent_sheet, frequency_words
from forestay.plan.ruleset import ruleset
from forestay.report.consent import consent_data, consent_pdf, readable_consent
from forestay.risk import series
from tests.plan.cases import changed, planned, raw, situation

AT = datetime(2026, 11, 27, 7, tzinfo=UTC)


def sheet(data: dict[str, Any]) -> ConsentSheet:
    return consent_sheet(situation(data).case, planned(data, draws=50), default_evidence().reader())


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (0.175, "about 175 of 1,000 people"),
        (0.02, "about 20 of 1,000 people"),
        (0.001, "about 1 of 1,000 people"),
        (0.000985, "about 1 of 1,000 people"),
        (0.0004, "fewer than 1 of 1,000 people (about 4 of 10,000)"),
        (1.0, "about 1,000 of 1,000 people"),
    ],
)
def test_chances_as_natural_frequencies(probability: float, words: str) -> None:
    assert frequency_words(probability) == words


@pytest.mark.parametrize("name", NAMES)
def test_no_figure_without_people_range_and_source(name: str) -> None:
    figures = sheet(raw(name)).figures
    assert len(figures) >= 5
    for f in figures:
        assert "of 1,000" in f.says
        assert f.range_says
        assert "Source: " in f.source
        assert "Eyes: " in f.source
        assert f.low is None or f.low <= f.count <= (f.high or 0)
    assert [f.probability for f in figures] == sorted((f.probability for f in figures), reverse=True)
    assert len({f.key for f in figures}) == len(figures)


def test_the_figures_are_those_of_the_plan() -> None:
    data = raw("brown-pseudoexfoliation")
    plan = planned(data, draws=50)
    option = next(o for o in plan.options if o.technique == plan.chosen.technique)
    risk = next(r for r in option.risks if r.name == "capsule-rupture")
    bag = next(f for f in sheet(data).figures if f.key == "bag")
    assert bag.probability == risk.probability
    assert bag.count == round(1000 * risk.probability)
    assert bag.of_this_eye


def test_what_is_special_follows_the_findings() -> None:
    said = " ".join(sheet(raw("brown-pseudoexfoliation")).special)
    assert "white dust" in said
    assert "white dust" not in " ".join(
        sheet(changed("brown-pseudoexfoliation", signs__pseudoexfoliation=False)).special
    )
    assert "eye that you see with" in " ".join(sheet(raw("long-vitrectomised-only-eye")).special)


def test_germs_with_and_without_the_medicine() -> None:
    name = "trauma-gap"
    assert "infection" in {f.key for f in sheet(raw(name)).figures}
    both = changed(name, person__allergies=["cephalosporin", "moxifloxacin"])
    assert "infection-without" in {f.key for f in sheet(both).figures}


def test_there_is_no_sheet_where_nobody_operates() -> None:
    data = changed("trauma-gap", eye__visual_acuity_logmar=None, eye__visual_acuity="NPL")
    with pytest.raises(InvalidInput, match="no sheet for the patient"):
        sheet(data)


def syllables(word: str) -> int:
    groups = re.findall(r"[aeiouy]+", re.sub(r"(?:es|ed|e)$", "", word.lower()) or word)
    return max(1, len(groups))


@pytest.mark.parametrize("name", NAMES)
def test_the_words_are_easy_to_read(name: str) -> None:
    """Flesch 1948: 206.835 - 1.015 words/sentence - 84.6 syllables/word; 80 and more is easy, for a child of twelve."""
    made = sheet(raw(name))
    data = consent_data(made, label="x", invented=True, made_at=AT)
    text = [*data["intro"], *data["special"], *data["how"], data["labels"]["no"], *data["warnings"]]
    text += [part for f in data["figures"] for part in (f["what"], f["says"], f["then"], *f["more"])]
    sentences = [s for t in text for s in re.split(r"[.:!?]\s*", t) if re.search("[a-z]", s)]
    words = [w for s in sentences for w in re.findall(r"[A-Za-z']+", s)]
    ease = 206.835 - 1.015 * len(words) / len(sentences) - 84.6 * sum(map(syllables, words)) / len(words)
    assert ease >= 80
    assert max(len(re.findall(r"[A-Za-z']+", s)) for s in sentences) <= 20


def test_squares_are_counted_and_differ_without_colour() -> None:
    svg = icon_array(count=175, high=412, total=1000, name="x", says="said")
    paths = re.findall(r'<path d="([^"]*)" ([^>]*)/>', svg)
    assert [d.count("M") for d, _ in paths] == [588, 237, 175]
    assert ['stroke-width="0.25"' in a for _, a in paths] == [True, False, False]
    assert set(re.findall(r"#[0-9a-f]{3,6}", svg)) == {"#000"}
    assert "175 squares of 1000 are filled" in svg


@pytest.mark.parametrize(("count", "high"), [(1001, None), (-1, None), (5, 2000)])
def test_impossible_arrays_are_refused(count: int, high: int | None) -> None:
    with pytest.raises(InvalidInput):
        icon_array(count=count, high=high, total=1000, name="x", says="y")


def test_the_paper_holds_and_repeats() -> None:
    made = sheet(raw("brown-pseudoexfoliation"))
    pdf = consent_pdf(made, label="brown", invented=True, made_at=AT)
    assert pdf.startswith(b"%PDF")
    assert pdf == consent_pdf(made, label="brown", invented=True, made_at=AT)
    text = readable_consent(made)
    assert "left eye" in text
    assert "not a medical device" in text


def test_what_the_patient_reads_is_in_large_print() -> None:
    """Large print is 16 pt and more (UK Association for Accessible Formats); sources and the foot of the page are not."""
    made = sheet(raw("brown-pseudoexfoliation"))
    data = consent_data(made, label="x", invented=True, made_at=AT)
    read = [*data["special"], *data["how"], *data["warnings"]]
    read += [
        part for f in data["figures"] for part in (f["what"], f["says"], f["then"], f["range"], f["own"], *f["more"])
    ]
    large: list[str] = []

    def note(text: str, _cm: Any, tm: Any, _font: Any, size: float) -> None:
        if abs(tm[3]) * size >= 15.99:
            large.append(text)

    for page in PdfReader(io.BytesIO(consent_pdf(made, label="x", invented=True, made_at=AT))).pages:
        page.extract_text(visitor_text=note)
    said = re.sub(r"\s+", "", "".join(large))
    assert [part for part in read if re.sub(r"\s+", "", part) not in said] == []


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    case, pdf = tmp_path / "eye.toml", tmp_path / "eye.pdf"
    case.write_bytes(demo_bytes("trauma-gap"))
    with pytest.raises(SystemExit) as left:
        run(["consent", str(case), "--json", "--pdf", str(pdf)])
    assert not left.value.code
    assert json.loads(capsys.readouterr().out)["side"] == "right eye"
    assert pdf.read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(("allergies", "drug"), [([], "cefuroxime"), (["cephalosporin"], "moxifloxacin")])
def test_the_infection_told_is_that_of_the_antibiotic_given(allergies: list[str], drug: str) -> None:
    data = changed("trauma-gap", person__allergies=allergies)
    plan = planned(data, draws=50)
    told = next(
        f
        for f in consent_sheet(situation(data).case, plan, default_evidence().reader()).figures
        if f.key == "infection"
    )
    option = next(o for o in plan.options if o.technique == plan.chosen.technique)
    assert told.probability == next(r.probability for r in option.risks if r.name == f"endophthalmitis_with_{drug}")


STILL = changed("trauma-gap", person__sex="female", signs__trauma=False, signs__iridodonesis=False)


def figure(data: dict[str, Any], key: str) -> Figure:
    return next(f for f in sheet(data).figures if f.key == key)


def test_the_one_ratio_that_speaks_is_put_on_the_number() -> None:
    """Dropped nucleus, white eye with a pupil under 6 mm: 0.0712 % of all eyes; 59.5 % of those eyes and 8.8 % of the others
    had a pupil that was not full. Bayes on the printed per cents: 0.595 x 0.000712 / (that + 0.088 x 0.999288) = 0.479 %."""
    told = figure(raw("white-swollen"), "piece")
    lost, whole = 0.595 * 0.000712, 0.088 * (1 - 0.000712)
    assert told.probability == pytest.approx(lost / (lost + whole), rel=0.005)
    assert told.count == 5
    assert any("Your pupil stays small" in line for line in told.more)
    assert "other people's eyes" in told.whose
    assert "x 15.2" in told.source


def test_a_range_is_never_from_one_number_to_the_same() -> None:
    """0.7 to 1.4 of 1,000: told of 10,000."""
    told = figure(raw("white-swollen"), "bleeding")
    assert told.count == 1
    assert re.search(r"as few as 7 or as many as 14 of 10,000", told.range_says)


def test_several_ratios_are_said_and_not_multiplied() -> None:
    plain = figure(raw("hard-poor-endothelium"), "piece")
    told = figure(raw("brown-pseudoexfoliation"), "piece")
    assert told.probability == plain.probability
    said = " ".join(told.more)
    assert "more likely than that" in said
    assert all(part in said for part in ("pupil stays small", "white dust", "sticks to the lens"))
    assert plain.more == ()


def test_a_ratio_stays_off_a_base_that_does_not_fit() -> None:
    """Under 60 years: against which ages is not known; a man of high myopia: counted in all lengths."""
    told = figure(STILL, "detachment")
    assert (told.count, told.more) == (3, ("In your eye it is more likely than that. You are under 60.",))
    long_eye = figure(raw("long-vitrectomised-only-eye"), "detachment")
    assert long_eye.probability == 0.0174
    assert any("You are a man" in line for line in long_eye.more)


def test_what_makes_it_less_likely_is_said_as_such() -> None:
    told = figure(changed("hard-poor-endothelium", person__age_years=84, person__sex="female"), "detachment")
    assert told.more == ("In your eye it is less likely for another reason. You are over 80.",)


def test_every_ratio_of_a_figure_has_words_for_the_patient_and_every_sign_a_source() -> None:
    rules = ruleset("consent")["raise"]
    named = {str(r.data["ratio"]) for r in rules if "ratio" in r.data}
    complications = {"dropped-nucleus", "choroidal-haemorrhage", "macular-oedema", "detachment"}
    assert named == {f"series_ratio.{e.key}" for e in series.RATIOS if e.complication in complications}
    assert [r.data["key"] for r in rules if "ratio" not in r.data and not r.sources] == []
    figures = {str(r.data["key"]) for r in ruleset("consent")["figure"]}
    assert {f for r in rules for f in r.data["figures"]} <= figures


def test_a_polar_cataract_leads_with_its_own_series() -> None:
    data = changed("hard-poor-endothelium", lens__posterior_polar=True)
    told = figure(data, "bag")
    assert (told.count, told.low, told.high) == (200, 70, 360)  # published range of 7 to 36 %
    assert "other people's eyes" in told.whose
    first = {o.technique: o.risks[0].name for o in planned(data, draws=50).options if o.risks}
    assert first["manual-small-incision"] == first["phacoemulsification"] == "capsule_rupture_polar"


def test_a_gap_with_a_moving_iris_leads_with_the_series_of_such_lenses() -> None:
    """Of eyes with pseudoexfoliation whose lens or iris moved 42.9 % needed vitrectomy; the model gives 1.7 %."""
    told = figure(raw("trauma-gap"), "bag")
    assert (told.count, told.low, told.high) == (429, 158, 750)
    assert told.more[0].startswith("These were eyes with a sign that yours has too.")
    plan = planned(raw("trauma-gap"), draws=50)
    assert any("42.9 %" in line.replace("%", " %") for line in plan.consent if "not in this one" in line)
    still = figure(STILL, "bag")
    assert still.of_this_eye
    assert "threads that hold your lens are torn" in " ".join(still.more)


def test_what_leads_does_not_enter_the_comparison() -> None:
    plan = planned(raw("trauma-gap"), draws=50)
    for option in plan.options[:2]:
        capsule = next(c for c in option.criteria if c.key == "capsule")
        assert capsule.value == next(r.probability for r in option.risks if r.name == "capsule-rupture")


@pytest.mark.parametrize(
    ("name", "said"),
    [
        (
            "long-vitrectomised-only-eye",
            ("jelly of your eye was taken out", "coloured part of your eye limp", "thins the blood"),
        ),
        ("trauma-gap", ("Your eye was hurt", "pressure may rise years later")),
        ("white-swollen", ("pressure in your eye is high", "heart disease")),
    ],
)
def test_the_special_points_of_the_eye_are_on_its_sheet(name: str, said: tuple[str, ...]) -> None:
    special = " ".join(sheet(raw(name)).special)
    assert [part for part in said if part not in special] == []


def test_no_antibiotic_left_is_said_to_the_patient() -> None:
    both = changed("trauma-gap", person__allergies=["cephalosporin", "moxifloxacin"])
    assert "medicines against germs" in " ".join(sheet(both).special)
    assert "medicines against germs" not in " ".join(sheet(raw("trauma-gap")).special)
