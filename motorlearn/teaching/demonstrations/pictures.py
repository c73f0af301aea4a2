"""Pictures of the first six demonstrations, as scenes with fixed axes."""

import numpy as np

from motorlearn import digits
from motorlearn.teaching.demonstrations.averaged_curves import AveragedCurves
from motorlearn.teaching.demonstrations.feedback_dependence import FeedbackDependence
from motorlearn.teaching.demonstrations.pooled_trials import PooledTrials
from motorlearn.teaching.demonstrations.practice_and_tests import PracticeAndTests
from motorlearn.teaching.demonstrations.regression_to_mean import RegressionToMean
from motorlearn.teaching.demonstrations.scene import (
    FAINT_LOOK,
    INK_LOOK,
    Panel,
    Row,
    Scene,
    course,
    few,
    mark,
    rows_of,
)
from motorlearn.teaching.demonstrations.twenty_attempts import TwentyAttempts


def practice_and_tests_scene(shown: PracticeAndTests) -> Scene:
    """Practice blocks and both tests, and beside them the differences of the groups."""
    days = digits.plain(shown.settings["days"])
    tests = {"immediate test": "at\nonce", "retention test": f"{days} d\nlater"}
    return _compared(shown, tests, "retention test", "radial", "Random\nminus blocked", 60, 24)


def feedback_dependence_scene(shown: FeedbackDependence) -> Scene:
    """Practice with feedback and the test without it, and the differences of the groups."""
    days = digits.plain(shown.settings["days"])
    tests = {"test without feedback": f"{days} d later,\nno feedback"}
    against = "Now and then\nminus every trial"
    return _compared(shown, tests, "test without feedback", "absolute", against, 40, 24)


def _compared(
    shown: PracticeAndTests | FeedbackDependence,
    tests: dict[str, str],
    dots: str,
    error: str,
    against: str,
    top: float,
    reach: float,
) -> Scene:
    groups = tuple(dict.fromkeys(shown.means["group"]))
    people = {dots: shown.people.set_index("group")["retention"]}
    marks, ticks, end = course(shown.means, tests, groups, people=people)
    panels = (
        Panel("Practice block, then tests", f"Mean {error} error (cm)", (0.4, end), (0, top), marks,
              ticks=ticks, weight=1.7),
        Panel(f"{against} (cm)", "", (-reach, reach), rows=rows_of(shown.differences), rules=(0,),
              title="Difference, 95 % CI"),
    )  # fmt: skip
    return Scene(panels, "95 % CI of the mean over people")


def twenty_attempts_scene(shown: TwentyAttempts) -> Scene:
    """How likely each score of an unchanged person is, and what follows from one score."""
    attempts, rate = shown.settings["attempts"], shown.settings["hit_rate"]
    counts, step = shown.counts, 100 / attempts
    usual = (counts["hits"] - attempts * rate).abs() <= 1.96 * shown.std_error
    bars = tuple(
        mark("bars", counts["hits"][rows] * step, 100 * counts["probability"][rows], name=name,
             look=look, width=0.8 * step)
        for rows, name, look in ((usual, "within 1.96 standard errors", 0),
                                 (~usual, "further away", FAINT_LOOK))
    )  # fmt: skip
    repeats = mark("dots", shown.repeats * step, np.full(len(shown.repeats), 81.0), look=INK_LOOK,
                   name="ten tests")  # fmt: skip
    change = step * shown.smallest_change
    panels = (
        Panel(f"Hits of {attempts} (%)", "Probability (%)", (-12, 112), (0, 86), (*bars, repeats),
              weight=1.4),
        Panel(f"% of {attempts} attempts", "", (-130, 130), rules=(0,), title="95 % of tests",
              rows=(Row("true rate, from one score", 100 * round(attempts * rate) / attempts,
                        100 * shown.hit_low, 100 * shown.hit_high),
                    Row("change between two tests", 0.0, -change, change))),
    )  # fmt: skip
    correlation = digits.number(shown.reliability, 2)
    return Scene(panels, f"Over people, two such tests correlate {correlation}")


def pooled_trials_scene(shown: PooledTrials) -> Scene:
    """p values of both tests over many studies of two identical groups."""
    edges = np.linspace(0, 1, 21)
    panels = []
    ways = shown.false_positives.itertuples(index=False)
    for p, way in zip((shown.pooled_p, shown.people_p), ways, strict=True):
        share = 100 * np.histogram(p, edges)[0] / len(p)
        middle = edges[:-1] + 0.025
        marks = (
            mark("bars", middle[1:], share[1:], width=0.045),
            mark("bars", middle[:1], share[:1], look=1, width=0.045, name="p below .05"),
        )
        panels.append(
            Panel("p value", "Studies (%)", (-0.03, 1.03), (0, 100), marks, rules=(5,),
                  title=f"{str(way.test).capitalize()}: {digits.percent(way.share, 1)}")
        )  # fmt: skip
    return Scene(tuple(panels), "Bars: studies in steps of .05; dashed: 5 %")


def averaged_curves_scene(shown: AveragedCurves) -> Scene:
    """Learners, their average with both fits, and how often each form wins."""
    fitted = shown.fitted
    marks = [
        mark("line", few(shown.practice), few(row), look=FAINT_LOOK) for row in shown.errors[:10]
    ]
    marks.append(mark("dots", fitted["trial"], fitted["mean"], look=INK_LOOK, name="average"))
    marks += [
        mark("line", few(fitted["trial"]), few(fitted[form]), look=look, name=f"{form} fit")
        for look, form in enumerate(("exponential", "power"))
    ]
    shares = shown.shares
    bars = mark("bars", [1, 2], 100 * shares["share"], low=100 * shares["conf_low"],
                high=100 * shares["conf_high"])  # fmt: skip
    panels = (
        Panel("Practice trial", "Error (cm)", (0, 74), (0, 48), tuple(marks), weight=1.9),
        Panel("", "Exponential wins (%)", (0.4, 2.6), (0, 100), (bars,),
              ticks={1.0: "learners", 2.0: "class\naverages"}, rules=(50,)),
    )  # fmt: skip
    return Scene(panels, "Grey: ten learners of one class")


def regression_to_mean_scene(shown: RegressionToMean) -> Scene:
    """Everybody's pretest, and both tests of those who were chosen, in percent of the attempts."""
    people, percent = shown.people, 100 / shown.settings["attempts"]
    everybody = few(people["pretest"], 60) * percent
    mean = float(people["pretest"].mean() * percent)
    aside = np.linspace(-0.9, -0.5, len(everybody))
    marks = [mark("dots", aside, everybody, look=FAINT_LOOK, name="everybody before")]
    for look, group in enumerate(("programme", "control")):
        rows = people[people["group"] == group]
        if rows.empty:
            continue
        before, after = (rows[test] * percent for test in ("pretest", "posttest"))
        marks.append(mark("pairs", few(before, 25), few(after, 25), look=look))
        marks.append(mark("line", [0, 1], [before.mean(), after.mean()], look=look, name=group))
    panels = (
        Panel("", "Hits (%)", (-1.1, 1.2), (0, 100), tuple(marks), rules=(mean,), weight=1.3,
              ticks={-0.7: "all", 0.0: "before", 1.0: "after"}),
        Panel("Hits (% of the attempts)", "", (-50, 50), rules=(0,), title="Change, 95 % CI",
              rows=tuple(Row(str(r[0]), *(float(v) * percent for v in r[1:]))
                         for r in shown.changes.itertuples(index=False))),
    )  # fmt: skip
    return Scene(panels, "Thin: people; thick: means; dashed: mean of everybody before")
