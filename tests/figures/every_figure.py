"""One small call of every public figure function, for what all of them must do alike."""

from collections.abc import Callable
from functools import cache

import numpy as np
import pandas as pd
import studies

import motorlearn as ml
from motorlearn import figures
from motorlearn.design import Outcome, design_from_mapping
from motorlearn.figures import Drawing
from motorlearn.measures.landmarks.tracks import Landmarks

PLAN = ["serial", "blocked"]
"""Groups in the order of the plan, which is not that of the alphabet."""
RADIAL = Outcome(name="radial_error", unit="cm", better="lower", label="mean radial error")
TESTS = {"pretest": "Pretest", "retention": "Retention", "transfer": "Transfer"}


@cache
def scores() -> pd.DataFrame:
    """Scores of seven people a group at three tests; one missed the transfer test."""
    rng = np.random.default_rng(8)
    rows = [
        (f"{group[0]}{i}", group, test, level + rng.normal(0, 3))
        for group in sorted(PLAN)
        for i in range(7)
        for test, level in zip(TESTS, (38.0, 25.0, 29.0))
    ]
    return pd.DataFrame(rows[:-1], columns=["participant", "group", "phase", "score"])


def at(test: str) -> pd.DataFrame:
    return scores().query("phase == @test")


@cache
def points() -> pd.DataFrame:
    """Means of three practice blocks and of the tests."""
    rows = [
        (group, "acquisition", 1, block, 36.0 - 2 * block) for group in PLAN for block in (1, 2, 3)
    ]
    means = scores().groupby(["group", "phase"], as_index=False)["score"].mean()
    rows += [(r.group, r.phase, np.nan, np.nan, r.score) for r in means.itertuples()]
    found = pd.DataFrame(rows, columns=["group", "phase", "session", "block", "mean"])
    return found.assign(conf_low=found["mean"] - 2, conf_high=found["mean"] + 2)


@cache
def compared() -> ml.compare.PhaseComparison:
    table = scores().rename(columns={"score": "radial_error"})
    return ml.compare_phases(table, "radial_error", group="group", baseline="pretest")


@cache
def sensitivity() -> ml.audit.Sensitivity:
    return ml.audit.sensitivity(compared(), phase="transfer", permutations=49)


@cache
def differences() -> pd.DataFrame:
    row = {"group": "blocked", "reference": "serial", "name": "blocked − serial"}
    return pd.DataFrame([row | {"estimate": -1.0, "conf_low": -3.0, "conf_high": 1.0}])


@cache
def design() -> ml.design.Design:
    groups = [{"name": name, "schedule": name, "size": 4} for name in PLAN]
    content = {
        "study": {"title": "Ring push"},
        "groups": groups,
        "tasks": [{"name": "straight"}, {"name": "bank"}],
        "target": {"radius": 20},
        "practice": [{"session": 1, "day": 0, "trials_per_block": 12}],
        "tests": [
            {"phase": "pretest", "trials": 12},
            {"phase": "retention", "trials": 12, "interval_days": 7},
        ],
        "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
        "primary": {"outcome": "radial_error", "groups": PLAN[::-1], "phase": "retention"},
        "assumptions": {"baseline": 38, "between_sd": 6, "within_sd": 15, "gain": 12},
    }
    return design_from_mapping(content)


@cache
def power() -> ml.plan.Power:
    return ml.power(design(), n=[8, 40], trials=[6, 12], simulations=40, seed=1, effects=[4])


@cache
def practice() -> pd.DataFrame:
    rng, n = np.random.default_rng(3), np.arange(1, 13)
    rows = [
        (f"p{i}", t, score)
        for i in range(4)
        for t, score in zip(n, 20 + 15 * np.exp(-0.3 * (n - 1)) + rng.normal(0, 1, len(n)))
    ]
    return pd.DataFrame(rows, columns=["participant", "trial", "radial_error"])


@cache
def fits() -> ml.curves.CurveFits:
    return ml.fit_curves(practice(), "radial_error", practice="trial", by="participant")


@cache
def population() -> ml.curves.PopulationCurve:
    return ml.fit_population_curve(practice(), "radial_error", practice="trial")


@cache
def agreement(kind: str) -> ml.measures.Agreement:
    rng = np.random.default_rng(4)
    rows = [
        (i, rater, int(np.clip(rng.normal(i % 5 + 1, 0.8), 1, 7)), i)
        for i in range(12)
        for rater in ("A", "B")
    ]
    table = pd.DataFrame(rows, columns=["clip", "rater", "score", "order"])
    names = {"item": "clip", "rater": "rater", "score": "score", "order": "order"}
    return ml.rater_agreement(table, kind=kind, **names)


@cache
def decisions() -> ml.analysis.Generalisability:
    rng = np.random.default_rng(5)
    rows = [
        (f"p{person}", f"p{person}.{clip}", rater, person + rng.normal())
        for person in range(8)
        for clip in range(2)
        for rater in "AB"
    ]
    table = pd.DataFrame(rows, columns=["participant", "clip", "rater", "score"])
    return ml.analysis.generalisability(table, "score", facets=["rater"], nested=["clip"])


@cache
def clip() -> Landmarks:
    rng, names = np.random.default_rng(5), ("shoulder", "elbow", "wrist")
    steps = rng.normal(size=(120, 3, 2)).cumsum(axis=0)
    places = {name: steps[:, i] + [0.0, -float(i)] for i, name in enumerate(names)}
    return Landmarks(points=places, frames=np.arange(120), rate=100.0, unit="cm")


@cache
def catches() -> ml.mixed.MixedFit:
    rng = np.random.default_rng(2)
    table = pd.DataFrame({"participant": np.repeat(np.arange(8), 6), "catches": rng.poisson(2, 48)})
    table["group"] = pd.Categorical(np.where(table["participant"] % 2, *PLAN), PLAN)
    return ml.fit_mixed("catches ~ group", table, random={"participant": "1"}, family="poisson")


@cache
def spreads() -> ml.mixed.VariabilityFit:
    rng = np.random.default_rng(2)
    table = pd.DataFrame({"participant": np.repeat(np.arange(12), 6)})
    table["group"] = pd.Categorical(np.where(table["participant"] % 2, *PLAN), PLAN)
    table["error"] = 20 + np.where(table["participant"] % 2, 2.0, 4.0) * rng.normal(size=72)
    return ml.fit_variability("error ~ group", table, spread="group")


@cache
def multiverse() -> ml.analysis.Multiverse:
    sized = [{"name": "blocked", "size": 12}, {"name": "random", "size": 12}]
    content = studies.plan([studies.ERROR], groups=sized, multiverse={"models": ["unadjusted"]})
    return ml.multiverse(studies.study(content, studies.trials(24, studies.PARTS, seed=9)))


@cache
def athlete() -> ml.compare.SingleCase:
    rng = np.random.default_rng(9)
    rows = [("A", s, "AB"[s > 6], 30 - 4 * (s > 6) + rng.normal()) for s in range(1, 13)]
    table = pd.DataFrame(rows, columns=["participant", "session", "phase", "radial_error"])
    return ml.analyse_single_case(
        table, "radial_error", participant="participant", phase="phase", better="lower"
    )


def _cells() -> pd.DataFrame:
    rows = [
        (test, aid, order, 25.0 + i)
        for test in TESTS
        for i, (aid, order) in enumerate([(a, o) for a in ("always", "faded") for o in PLAN])
    ]
    found = pd.DataFrame(rows, columns=["phase", "along", "line", "mean"])
    found = found[found["phase"] == "retention"]
    return found.assign(conf_low=found["mean"] - 1, conf_high=found["mean"] + 1)


def _landings() -> pd.DataFrame:
    xy = np.random.default_rng(1).normal([1, -4], [14, 20], size=(40, 2))
    return pd.DataFrame(xy, columns=["x", "y"]).assign(group="serial", phase="retention")


def _speeds() -> pd.DataFrame:
    found = scores().rename(columns={"phase": "stage", "score": "outcome"})
    return found.assign(speed=200 + found["outcome"])


def _flow() -> pd.DataFrame:
    rows = [(g, stage, 7, "1 ill") for g in PLAN for stage in ("allocated", "analysed")]
    return pd.DataFrame(rows, columns=["group", "stage", "n", "note"])


def _orders() -> pd.DataFrame:
    rows = [(f"p{i}", PLAN[i % 2], "AB"[t % 2], 1) for i in range(4) for t in range(8)]
    return pd.DataFrame(rows, columns=["participant", "group", "task", "session"])


def _changes() -> pd.DataFrame:
    return at("retention").assign(change=at("retention")["score"] - 38)


def _present() -> pd.DataFrame:
    return scores().rename(columns={"phase": "stage"}).assign(share=1.0)


OF_PLAN = {"outcome": RADIAL, "groups": PLAN}
ONE = {"outcome": RADIAL, "groups": ["serial"]}
SEGMENTS = [("shoulder", "elbow"), ("elbow", "wrist")]
CALLS: dict[str, Callable[..., Drawing]] = {
    "bland_altman": lambda f, **k: f(agreement("interval"), **k),
    "category_agreement": lambda f, **k: f(agreement("ordinal"), **k),
    "conclusion_forest": lambda f, **k: f(sensitivity(), **k),
    "curve_residuals": lambda f, **k: f(population(), label="cm", **k),
    "cutoff_choice": lambda f, **k: f(clip(), "wrist", **k),
    "decision_curves": lambda f, **k: f(decisions(), **k),
    "delayed_scores": lambda f, **k: f(
        scores(), points(), phases=["retention"], **OF_PLAN, **k
    ),
    "design_timeline": lambda f, **k: f(design(), **k),
    "diagnostic_panel": lambda f, **k: f(
        ml.check_assumptions(compared(), remedies=False, phases=["retention"]), **k
    ),
    "effect_forest": lambda f, **k: f(differences(), label="cm", **k),
    "estimation_plot": lambda f, **k: f(
        at("retention"), differences(), reference="serial", **OF_PLAN, **k
    ),
    "individual_fits": lambda f, **k: f(
        fits(), practice(), "radial_error", practice="trial", label="cm", **k
    ),
    "interaction_plot": lambda f, **k: f(
        _cells(), lines=PLAN, along=["always", "faded"], outcome=RADIAL,
        names=("order", "feedback"), **k
    ),
    "landing_map": lambda f, **k: f(
        _landings(), phases=["retention"], groups=["serial"], unit="cm", **k
    ),
    "load_by_week": lambda f, **k: f(ml.plan.throw_load(design()), **k),
    "missing_map": lambda f, **k: f(
        _present().query("group == 'serial'"), stages=list(TESTS), groups=["serial"], **k
    ),
    "modelled_means": lambda f, **k: f(catches(), by="group", label="catches", **k),
    "modelled_spreads": lambda f, **k: f(spreads(), by="group", label="error (cm)", **k),
    "multiverse_plot": lambda f, **k: f(multiverse(), **k),
    "paired_change": lambda f, **k: f(_changes().query("group == 'serial'"), **ONE, **k),
    "paired_lines": lambda f, **k: f(scores().query("group == 'serial'"), **ONE, **k),
    "parameter_forest": lambda f, **k: f(population(), unit="cm", **k),
    "participant_flow": lambda f, **k: f(_flow(), groups=PLAN, **k),
    "population_curve": lambda f, **k: f(population(), label="cm", **k),
    "power_contour": lambda f, **k: f(power(), effect="given", **k),
    "power_curves": lambda f, **k: f(power(), **k),
    "practice_curve": lambda f, **k: f(points(), scores().assign(session=np.nan, block=np.nan),
                                       **OF_PLAN, **k),
    "raincloud": lambda f, **k: f(at("retention"), **OF_PLAN, **k),
    "rater_drift": lambda f, **k: f(agreement("interval"), **k),
    "single_case_graph": lambda f, **k: f(
        athlete().sessions, athlete().phases, outcome=RADIAL, conditions=("A", "B"), **k
    ),
    "speed_and_outcome": lambda f, **k: f(_speeds(), tests=TESTS, **OF_PLAN, **k),
    "stick_figure": lambda f, **k: f(clip(), SEGMENTS, **k),
    "tipping_path": lambda f, **k: f(sensitivity(), **k),
    "trial_order_raster": lambda f, **k: f(
        _orders().query("group == 'serial'"), groups=["serial"], tasks=["A", "B"], **k
    ),
}  # fmt: skip


def draw(name: str, **options) -> Drawing:
    """Draw one figure by the name of its function."""
    return CALLS[name](getattr(figures, name), **options)
