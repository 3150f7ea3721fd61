"""Words of the trade for fields, choices and things, in the reader's language. Tables only."""

from __future__ import annotations

from forestay.text import tr


def flags() -> dict[str, tuple[str, str]]:
    """What a yes and a no of each field are called."""
    return {
        "person.kidney_disease": (tr("kidney disease"), tr("no kidney disease")),
        "person.heart_disease": (tr("heart disease"), tr("no heart disease")),
        "person.diabetes": (tr("diabetes"), tr("no diabetes")),
        "person.lies_flat": (tr("lies flat"), tr("cannot lie flat")),
        "eye.only_eye": (tr("only eye"), tr("not the only eye")),
        "eye.relative_afferent_defect": (tr("relative afferent defect"), tr("no relative afferent defect")),
        "fellow.operated": (tr("operated"), tr("not operated")),
        "fellow.zonular_complication": (tr("zonule gave way in surgery"), tr("no zonular complication")),
        "fellow.pseudoexfoliation": (tr("pseudoexfoliation"), tr("no pseudoexfoliation")),
        "lens.posterior_polar": (tr("posterior polar"), tr("not posterior polar")),
        "signs.pseudoexfoliation": (tr("pseudoexfoliation"), tr("no pseudoexfoliation")),
        "signs.subluxated": (tr("lens subluxated"), tr("lens not subluxated")),
        "signs.iridodonesis": (tr("iris trembles"), tr("iris steady")),
        "signs.iris_lens_gap": (tr("gap between iris and lens"), tr("no gap between iris and lens")),
        "signs.trauma": (tr("injury"), tr("no injury")),
        "signs.vitrectomy": (tr("vitrectomised"), tr("not vitrectomised")),
        "signs.synechiae": (tr("synechiae"), tr("no synechiae")),
        "signs.alpha_blocker": (tr("takes an alpha blocker"), tr("no alpha blocker")),
        "signs.glaucoma": (tr("glaucoma"), tr("no glaucoma")),
        "signs.filtering_bleb": (tr("filtering bleb"), tr("no filtering bleb")),
        "signs.corneal_opacity": (tr("corneal opacity"), tr("no corneal opacity")),
        "signs.guttae": (tr("guttae"), tr("no guttae")),
        "signs.fundus_view": (tr("fundus seen"), tr("no view of the fundus")),
        "signs.external_infection": (tr("infection of lids or conjunctiva"), tr("no infection outside")),
    }


def choices() -> dict[tuple[str, str], str]:
    """What a word of a field is called, where the label and the word alone would not read well."""
    return {
        ("person.anticoagulant", "none"): tr("no anticoagulant"),
        ("person.anticoagulant", "warfarin"): tr("takes warfarin"),
        ("person.anticoagulant", "direct"): tr("takes a direct anticoagulant"),
        ("person.anticoagulant", "antiplatelet"): tr("takes an antiplatelet drug"),
        ("person.anticoagulant", "dual-antiplatelet"): tr("takes two antiplatelet drugs"),
        ("person.connective_tissue_disorder", "none"): tr("no connective tissue disorder"),
        ("person.connective_tissue_disorder", "marfan"): tr("Marfan syndrome"),
        ("person.connective_tissue_disorder", "homocystinuria"): tr("homocystinuria"),
        ("person.connective_tissue_disorder", "weill-marchesani"): tr("Weill-Marchesani syndrome"),
        ("person.connective_tissue_disorder", "other"): tr("another connective tissue disorder"),
        ("eye.visual_acuity", "CF"): tr("counts fingers"),
        ("eye.visual_acuity", "HM"): tr("sees hand movements"),
        ("eye.visual_acuity", "PL"): tr("perceives light"),
        ("eye.visual_acuity", "NPL"): tr("no perception of light"),
        ("eye.light_projection", "full"): tr("projects light from all sides"),
        ("eye.light_projection", "defective"): tr("light projection defective"),
        ("eye.light_projection", "none"): tr("no light projection"),
        ("eye.light_projection", "unknown"): tr("light projection not known"),
        ("biometry.posterior_segment_scan", "none"): tr("no scan behind the lens"),
        ("biometry.posterior_segment_scan", "normal"): tr("scan behind the lens normal"),
        ("biometry.posterior_segment_scan", "staphyloma"): tr("scan shows a staphyloma"),
        ("biometry.posterior_segment_scan", "detachment"): tr("scan shows a detachment"),
        ("biometry.posterior_segment_scan", "other"): tr("scan shows another finding"),
        ("lens.appearance", "clear"): tr("clear"),
        ("lens.appearance", "nuclear"): tr("nuclear"),
        ("lens.appearance", "brown"): tr("brown"),
        ("lens.appearance", "black"): tr("black"),
        ("lens.appearance", "white"): tr("white"),
        ("lens.appearance", "intumescent"): tr("white and swollen"),
        ("lens.appearance", "hypermature"): tr("hypermature"),
        ("signs.phacodonesis", "none"): tr("lens steady"),
        ("signs.phacodonesis", "after-movement"): tr("lens moves after a saccade"),
        ("signs.phacodonesis", "at-rest"): tr("lens trembles at rest"),
        ("signs.retinopathy", "none"): tr("no retinopathy"),
        ("signs.retinopathy", "background"): tr("background retinopathy"),
        ("signs.retinopathy", "proliferative"): tr("proliferative retinopathy"),
        ("theatre.surgeon_grade", "consultant"): tr("surgeon: consultant"),
        ("theatre.surgeon_grade", "independent"): tr("surgeon: independent"),
        ("theatre.surgeon_grade", "senior-trainee"): tr("surgeon: senior trainee"),
        ("theatre.surgeon_grade", "junior-trainee"): tr("surgeon: junior trainee"),
        ("theatre.seat", "superior"): tr("surgeon sits superior"),
        ("theatre.seat", "temporal"): tr("surgeon sits temporal"),
        ("theatre.dominant_hand", "right"): tr("right-handed"),
        ("theatre.dominant_hand", "left"): tr("left-handed"),
        ("theatre.retina_service", "in-house"): tr("retina service in the house"),
        ("theatre.retina_service", "same-day"): tr("retina service the same day"),
        ("theatre.retina_service", "days"): tr("retina service within days"),
        ("theatre.retina_service", "none"): tr("no retina service"),
    }


def labels() -> dict[str, str]:
    """What a field or a decision is called before its value."""
    return {
        "person.weight_kg": tr("weight"),
        "person.allergies": tr("allergies:"),
        "person.inr": tr("INR"),
        "eye.visual_acuity_logmar": tr("acuity"),
        "eye.pressure_mmhg": tr("pressure"),
        "biometry.chamber_depth_mm": tr("chamber"),
        "biometry.lens_thickness_mm": tr("lens thickness"),
        "biometry.white_to_white_mm": tr("white to white"),
        "biometry.corneal_thickness_um": tr("corneal thickness"),
        "biometry.endothelial_count_per_mm2": tr("endothelium"),
        "fellow.chamber_depth_mm": tr("chamber"),
        "signs.pupil_dilated_mm": tr("pupil after drops"),
        "theatre.techniques": tr("done here:"),
        "theatre.anaesthesia": tr("anaesthesia here:"),
        "theatre.has": tr("there is:"),
    }


def decisions() -> dict[str, str]:
    """How a decision of the plan reads; ``{value}`` stands for the choice."""
    return {
        "technique": "{value}",
        "capsulorhexis_mm": tr("capsulorhexis {value} mm"),
        "pupil_hooks": tr("{value} pupil hooks"),
        "ring": "{value}",
        "tunnel_clock": tr("tunnel at {value} o'clock"),
        "tunnel_chord_mm": tr("tunnel {value} mm"),
        "tunnel_shape": "{value}",
        "hook_reach_mm": tr("hooks drawn to {value} mm"),
        "ring_gap_clock": tr("opening of the ring at {value} o'clock"),
        "weak_hours": tr("gap at {value}"),
    }


def things() -> dict[str, str]:
    """Techniques, devices, timings, events: the word that a file holds to the word that a person reads."""
    return {
        "manual-small-incision": tr("manual small incision"),
        "phacoemulsification": tr("phacoemulsification"),
        "extracapsular": tr("extracapsular"),
        "intracapsular": tr("intracapsular"),
        "topical": tr("topical"),
        "sub-tenon": tr("sub-Tenon"),
        "peribulbar": tr("peribulbar"),
        "retrobulbar": tr("retrobulbar"),
        "general": tr("general"),
        "iris-hooks": tr("iris hooks"),
        "capsule-hooks": tr("capsule hooks"),
        "tension-ring": tr("tension ring"),
        "ring-segment": tr("ring segment"),
        "vitrector": tr("vitrector"),
        "dye": tr("dye"),
        "three-piece-lens": tr("three-piece lens"),
        "anterior-chamber-lens": tr("anterior chamber lens"),
        "none": tr("no ring"),
        "before-nucleus": tr("ring before the nucleus"),
        "after-nucleus": tr("ring after the nucleus"),
        "straight": tr("straight tunnel"),
        "frown": tr("frown tunnel"),
        "chevron": tr("chevron tunnel"),
        "anterior-capsule-tear": tr("anterior capsule torn"),
        "posterior-capsule-tear": tr("posterior capsule torn"),
        "zonular-dialysis": tr("zonular dialysis"),
        "vitreous-in-chamber": tr("vitreous in the chamber"),
        "lens-matter-lost-posteriorly": tr("lens matter lost behind"),
        "iris-prolapse": tr("iris prolapsed"),
        "iris-trauma": tr("iris injured"),
        "pupil-constriction": tr("pupil came down"),
        "descemet-detachment": tr("Descemet's membrane detached"),
        "tunnel-flap-torn": tr("tunnel flap torn"),
        "chamber-unstable": tr("chamber unstable"),
        "choroidal-haemorrhage": tr("choroidal haemorrhage"),
        "bleeding": tr("bleeding"),
        "device-lost": tr("device lost its hold"),
        "technique-changed": tr("technique changed"),
        "other": tr("another event"),
        "uncorrected": tr("uncorrected"),
        "pinhole": tr("pinhole"),
        "habitual": tr("with own glasses"),
        "best-corrected": tr("best corrected"),
    }
