"""Figures of plans and results on inputs that no figure likes: a picture or a refusal in words."""

import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from every_figure import multiverse

import motorlearn as ml
from motorlearn.design import Outcome, design_from_mapping
from motorlearn.exceptions import FitError, InputError
from motorlearn.figures import (
    bland_altman,
    category_agreement,
    conclusion_forest,
    curve_residuals,
    cutoff_choice,
    decision_curves,
    design_timeline,
    diagnostic_panel,
    individual_fits,
    load_by_week,
    modelled_means,
    multiverse_plot,
    parameter_forest,
    population_curve,
    power_contour,
    power_curves,
    rater_drift,
    single_case_graph,
    speed_and_outcome,
    stick_figure,
    text_overlaps,
    texts_cut,
    tipping_path,
    trial_order_raster,
)
from motorlearn.measures.landmarks.tracks import Landmarks

LONG = "practice in a random order with feedback chosen by the learner"  # 62 characters
RADIAL = Outcome(name="radial_error", unit="cm", better="lower")


def quietly(draw, *values, crowded=False, **options):
    """Draw with every warning an error; texts stay on the page and, unless crowded, apart."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        drawing = draw(*values, **options)
        drawing.png(dpi=60)
    assert texts_cut(drawing.figure) == []
    if not crowded:
        assert text_overlaps(drawing.figure) == []
    return drawing


def plan(groups, **options):
    return design_from_mapping(content_of(groups, **options))


def content_of(groups, *, sessions=2, practice=True):
    named = [{"name": name, "schedule": "random", "size": 2} for name in groups]
    content = {
        "study": {"title": "Ring push"},
        "groups": named,
        "tasks": [{"name": "straight"}, {"name": "bank"}],
        "target": {"radius": 20},
        "tests": [
            {"phase": "pretest", "trials": 12},
            {"phase": "retention", "trials": 12, "interval_days": 7},
        ],
        "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
    }
    if practice:
        content["practice"] = [
            {"session": s + 1, "day": s, "trials_per_block": 18} for s in range(sessions)
        ]
    return content


def orders(people, groups, trials=12):
    rows = [
        (f"p{i:03d}", groups[i % len(groups)], "AB"[t % 2], 1)
        for i in range(people)
        for t in range(trials)
    ]
    return pd.DataFrame(rows, columns=["participant", "group", "task", "session"])


TWENTY = [f"group {i:02d}" for i in range(20)]


@pytest.mark.parametrize(
    ("people", "groups"),
    [(1, ["programme"]), (6, [f"{LONG} {n}" for n in "AB"]), (40, TWENTY), (500, ["a", "b"])],
    ids=["one person", "long names", "twenty groups", "many people"],
)
def test_orders(people, groups):
    table = orders(people, groups)
    quietly(trial_order_raster, table, groups=groups, tasks=["A", "B"], crowded=len(groups) > 5)


def test_orders_of_one_task_and_of_nobody():
    same = orders(4, ["a", "b"]).assign(task="A")
    quietly(trial_order_raster, same, groups=["a", "b"], tasks=["A"])
    with pytest.raises(InputError):
        trial_order_raster(same.head(0), groups=["a", "b"], tasks=["A"])


@pytest.mark.parametrize("groups", [["programme"], [f"{LONG} {n}" for n in "ABC"], TWENTY])
def test_timeline_and_load(groups):
    design = plan(groups)
    quietly(design_timeline, design)
    quietly(load_by_week, ml.plan.throw_load(design), crowded=len(groups) > 5)


def test_a_programme_of_thirty_sessions_and_one_without_practice():
    quietly(design_timeline, plan(["programme"], sessions=30))
    quietly(load_by_week, ml.plan.throw_load(plan(["programme"], sessions=30)))
    with pytest.raises(InputError, match="placed in time"):
        design_timeline(plan(["a", "b"], practice=False))


@pytest.fixture(scope="module")
def found_power():
    content = content_of(["a", "b"])
    content["primary"] = {"outcome": "radial_error", "groups": ["b", "a"], "phase": "retention"}
    content["assumptions"] = {"baseline": 38, "between_sd": 6, "within_sd": 15, "gain": 12}
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return ml.power(
            design_from_mapping(content), n=[8, 16], trials=[6, 12], simulations=100, seed=1,
            effects=[4],
        )  # fmt: skip


def test_power_of_long_names_of_equal_values_and_of_nothing(found_power):
    table = found_power.table
    quietly(power_curves, replace(found_power, table=table.assign(effect_name=LONG)))
    name = str(table["effect_name"].iloc[0])
    quietly(power_contour, found_power, effect=name)
    same = replace(found_power, table=table.assign(power=1.0, mc_low=1.0, mc_high=1.0))
    quietly(power_curves, same)
    quietly(power_contour, same, effect=name)
    for draw, options in ((power_curves, {}), (power_contour, {"effect": "none"})):
        with pytest.raises(InputError):
            draw(replace(found_power, table=table.head(0)), **options)


def compared(names, *, spread=3.0, people=8):
    rng = np.random.default_rng(2)
    rows = [
        (f"{name[-1]}{i}", name, phase, rng.normal(30 - 5 * (phase == "retention"), spread))
        for name in names
        for i in range(people)
        for phase in ("pretest", "retention")
    ]
    table = pd.DataFrame(rows, columns=["participant", "group", "phase", "radial_error"])
    return ml.compare_phases(table, "radial_error", group="group", baseline="pretest")


def test_diagnostics_of_long_names():
    found = compared([f"{LONG} {n}" for n in "AB"])
    quietly(diagnostic_panel, ml.check_assumptions(found))
    quietly(conclusion_forest, ml.audit.sensitivity(found))


def test_diagnostics_of_an_audit_without_residuals():
    audit = ml.check_assumptions(compared(["a", "b"]))
    with pytest.raises(InputError):
        diagnostic_panel(replace(audit, residuals=audit.residuals.head(0)))


def practice(learners, *, flat=False, name="p{}"):
    rng = np.random.default_rng(3)
    n = np.arange(1, 21)
    rows = []
    for i in range(learners):
        score = 20 + 15 * np.exp(-0.2 * (n - 1)) + rng.normal(0, 2, len(n))
        rows += [(name.format(i), t, 7.0 if flat else s) for t, s in zip(n, score)]
    return pd.DataFrame(rows, columns=["participant", "trial", "radial_error"])


@pytest.mark.parametrize("name", ["p{}", LONG + " {}"])
def test_curves_of_one_learner_of_long_names_and_of_equal_scores(name):
    for learners, flat in ((1, False), (6, False), (2, True)):
        rows = practice(learners, flat=flat, name=name)
        fits = ml.fit_curves(rows, "radial_error", practice="trial", by="participant")
        quietly(individual_fits, fits, rows, "radial_error", practice="trial", label="cm")


def test_curves_of_nobody():
    rows = practice(2)
    fits = ml.fit_curves(rows, "radial_error", practice="trial", by="participant")
    with pytest.raises(InputError):
        individual_fits(fits, rows.head(0), "radial_error", practice="trial", label="cm",
                        learners=["nobody"])  # fmt: skip
    one = ml.fit_curve(rows["trial"][:20], rows["radial_error"][:20])
    quietly(curve_residuals, one, label="cm")


def test_a_population_of_groups_with_long_names():
    rows = practice(12)
    rows["group"] = np.where(rows["participant"] < "p5", f"{LONG} A", f"{LONG} B")
    fit = ml.fit_population_curve(rows, "radial_error", practice="trial", group="group")
    quietly(population_curve, fit, label="radial error (cm)")
    quietly(parameter_forest, fit, unit="cm")
    quietly(curve_residuals, fit, label="radial error (cm)")


def rated(items, raters, kind, *, same=False):
    rng = np.random.default_rng(4)
    rows = [
        (i, rater, 5 if same else int(np.clip(rng.normal(i % 5 + 1, 0.8), 1, 7)), i)
        for i in range(items)
        for rater in raters
    ]
    table = pd.DataFrame(rows, columns=["clip", "rater", "score", "order"])
    return ml.rater_agreement(
        table, item="clip", rater="rater", score="score", kind=kind, order="order"
    )


def test_agreement_of_long_names_of_two_clips_and_of_equal_scores():
    names = [f"{LONG} {n}" for n in "AB"]
    quietly(bland_altman, rated(20, names, "interval"))
    quietly(rater_drift, rated(20, names, "interval"))
    quietly(category_agreement, rated(20, names, "ordinal"))
    for draw in (bland_altman, rater_drift):
        for items, same in ((2, False), (12, True)):
            try:
                result = rated(items, ["a", "b"], "interval", same=same)
            except InputError:
                continue
            drawn_or_refused(draw, result)


def drawn_or_refused(draw, *values, **options):
    try:
        quietly(draw, *values, **options)
    except InputError as reason:
        assert str(reason)


def clip(frames, still=False):
    rng = np.random.default_rng(5)
    names = ("shoulder", "elbow", "wrist")
    steps = np.zeros((frames, 3, 2)) if still else rng.normal(size=(frames, 3, 2)).cumsum(axis=0)
    places = {n: steps[:, i] + [0.0, -float(i)] for i, n in enumerate(names)}
    return Landmarks(points=places, frames=np.arange(frames), rate=100.0, unit="cm")


def test_landmarks_of_one_frame_and_of_somebody_still():
    parts = [("shoulder", "elbow"), ("elbow", "wrist")]
    for frames, still in ((1, False), (60, True), (60, False)):
        quietly(stick_figure, clip(frames, still), parts, crowded=True)
    quietly(cutoff_choice, clip(200), "wrist")
    for frames, still in ((1, False), (200, True)):
        drawn_or_refused(cutoff_choice, clip(frames, still), "wrist")


def test_speed_beside_the_outcome():
    rng = np.random.default_rng(6)
    groups = [f"{LONG} {n}" for n in "AB"]
    rows = [
        (f"p{i}", groups[i % 2], test, rng.normal(30, 4), rng.normal(200, 20))
        for i in range(8)
        for test in ("pretest", "retention")
    ]
    people = pd.DataFrame(rows, columns=["participant", "group", "stage", "outcome", "speed"])
    tests = {"pretest": "Pretest", "retention": "Retention"}
    for table in (people, people.assign(outcome=1.0, speed=2.0), people.head(2), people.head(0)):
        drawn_or_refused(
            speed_and_outcome, table, crowded=True, outcome=RADIAL, groups=groups, tests=tests
        )


def judged(people, *, names=("A", "B"), same=False, seed=5):
    rng = np.random.default_rng(seed)
    rows = [
        (f"p{p}", f"p{p}.{c}", rater, 5.0 if same else p + rng.normal())
        for p in range(people)
        for c in range(2)
        for rater in names
    ]
    table = pd.DataFrame(rows, columns=["participant", "clip", "rater", "score"])
    return ml.analysis.generalisability(table, "score", facets=["rater"], nested=["clip"])


def test_generalisability_of_few_of_many_and_of_equal_scores():
    quietly(decision_curves, judged(8, names=[f"{LONG} {n}" for n in "AB"]), crowded=True)
    for people, same in ((1, False), (2, False), (8, True)):
        try:
            result = judged(people, same=same)
        except (InputError, FitError):
            continue
        drawn_or_refused(decision_curves, result, crowded=True)


def test_tipping_of_long_names_and_where_nothing_is_missing():
    found = compared([f"{LONG} {n}" for n in "AB"])
    with pytest.raises(InputError):
        tipping_path(ml.audit.sensitivity(found, phase="retention", permutations=49))
    gone = (found.scores["participant"] == "A0") & (found.scores["phase"] != "pretest")
    columns = ["participant", "group", "phase", "radial_error"]
    table = found.scores[~gone].rename(columns={"score": "radial_error"})[columns]
    again = ml.compare_phases(table, "radial_error", group="group", baseline="pretest")
    quietly(tipping_path, ml.audit.sensitivity(again, phase="retention", permutations=49))


@pytest.mark.parametrize("groups", [["programme"], [f"{LONG} {n}" for n in "AB"], TWENTY])
def test_modelled_means_of_one_of_many_and_of_long_names(groups):
    rng = np.random.default_rng(2)
    people = np.arange(max(8, 2 * len(groups)))
    table = pd.DataFrame({"participant": np.repeat(people, 3)})
    table["group"] = np.array(groups)[table["participant"] % len(groups)]
    table["catches"] = rng.poisson(2, len(table))
    formula = "catches ~ group" if len(groups) > 1 else "catches ~ 1"
    fit = ml.fit_mixed(formula, table, random={"participant": "1"}, family="poisson")
    drawn_or_refused(modelled_means, fit, by="group", label="catches", crowded=len(groups) > 5)


@pytest.mark.parametrize(
    "change",
    [
        lambda rows: rows.assign(participant=LONG),
        lambda rows: rows.assign(radial_error=7.0),
        lambda rows: pd.concat(
            [rows.assign(participant=f"athlete {i}") for i in range(5)], ignore_index=True
        ),
    ],
    ids=["long name", "equal scores", "five athletes"],
)
def test_single_cases(change):
    rng = np.random.default_rng(9)
    rows = [("A", s, "AB"[s > 6], 30 - 4 * (s > 6) + rng.normal()) for s in range(1, 13)]
    table = change(pd.DataFrame(rows, columns=["participant", "session", "phase", "radial_error"]))
    found = ml.analyse_single_case(
        table, "radial_error", participant="participant", phase="phase", better="lower"
    )
    options = {"outcome": RADIAL, "conditions": ("A", "B")}
    quietly(single_case_graph, found.sessions, found.phases, **options)
    with pytest.raises(InputError):
        single_case_graph(found.sessions.head(0), found.phases.head(0), **options)


def test_a_multiverse_of_which_nothing_could_be_computed_and_of_equal_estimates():
    found = multiverse()
    with pytest.raises(InputError, match="nothing to draw"):
        multiverse_plot(replace(found, table=found.table.head(0)))
    names = ["estimate", "conf_low", "conf_high", "g", "g_low", "g_high"]
    same = found.table.assign(**dict.fromkeys(names, 1.0))
    quietly(multiverse_plot, replace(found, table=same), crowded=True)
    long = replace(found, group=f"{LONG} A", reference=f"{LONG} B")
    quietly(multiverse_plot, long, crowded=True)
