"""Pictures of the demonstrations, large enough for a projector."""

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from motorlearn import digits
from motorlearn.figures.drawing.style import (
    FAINT,
    INK,
    PAPER,
    SOFT_INK,
    Drawing,
    Look,
    SizeName,
    canvas,
    house,
    looks,
)
from motorlearn.teaching.demonstrations.averaged_curves import AveragedCurves
from motorlearn.teaching.demonstrations.demonstration import Demonstration
from motorlearn.teaching.demonstrations.feedback_dependence import FeedbackDependence
from motorlearn.teaching.demonstrations.pooled_trials import PooledTrials
from motorlearn.teaching.demonstrations.practice_and_tests import PracticeAndTests
from motorlearn.teaching.demonstrations.regression_to_mean import RegressionToMean
from motorlearn.teaching.demonstrations.twenty_attempts import TwentyAttempts

_GAP = 2.4


def draw_practice_and_tests(shown: PracticeAndTests, *, size: SizeName = "slide") -> Drawing:
    """Draw practice blocks and both tests, and beside them the differences of the groups."""
    days = digits.number(shown.settings["days"], 0)
    names = {"immediate test": "at once", "retention test": f"{days} d\nlater"}
    people = {"retention test": shown.people.set_index("group")["retention"]}
    figure = _course_and_differences(
        shown.means, shown.differences, names, people, "Mean radial error (cm)", size
    )
    return _drawing("practice-and-tests", figure, shown, "95 % CI of the mean over people")


def draw_feedback_dependence(shown: FeedbackDependence, *, size: SizeName = "slide") -> Drawing:
    """Draw practice with feedback and the test without it, and the differences of the groups."""
    days = digits.number(shown.settings["days"], 0)
    names = {"test without feedback": f"{days} d later,\nno feedback"}
    people = {"test without feedback": shown.people.set_index("group")["retention"]}
    figure = _course_and_differences(
        shown.means, shown.differences, names, people, "Mean absolute error (cm)", size
    )
    return _drawing("feedback-dependence", figure, shown, "95 % CI of the mean over people")


def draw_twenty_attempts(shown: TwentyAttempts, *, size: SizeName = "slide") -> Drawing:
    """Draw how likely each score is for a person who does not change."""
    attempts, centre = shown.settings["attempts"], _expected(shown)
    with house(size) as chosen:
        figure, (axes,) = canvas(size)
        hits, share = shown.counts["hits"], shown.counts["probability"]
        usual = (hits - centre).abs() <= 1.96 * shown.std_error
        axes.bar(hits[usual], share[usual], color="#0072B2", width=0.8)
        axes.bar(hits[~usual], share[~usual], color=PAPER, edgecolor="#0072B2", width=0.8)
        top = float(share.max())
        low, high = centre, centre + shown.smallest_change
        axes.annotate(
            "",
            (high, top * 1.12),
            (low, top * 1.12),
            arrowprops={"arrowstyle": "<->", "linewidth": chosen.line, "color": "#D55E00"},
            annotation_clip=False,
        )
        axes.text(
            low,
            top * 1.17,
            f"smallest detectable change: {digits.number(shown.smallest_change, 1)} hits",
            color="#A84900",
            ha="center",
        )
        axes.plot(shown.repeats, np.full(len(shown.repeats), -top * 0.06), "v", color=INK)
        small = mpl.rcParams["xtick.labelsize"]
        axes.text(0, -top * 0.06, "ten tests:", va="center", fontsize=small)
        axes.text(
            0.02,
            0.6,
            f"over people, two tests\ncorrelate {digits.number(shown.reliability, 2)}",
            transform=axes.transAxes,
        )
        axes.set_xlim(-0.8, max(attempts, high) + 0.8)
        axes.set_ylim(-top * 0.12, top * 1.3)
        axes.locator_params(axis="x", integer=True)
        axes.set_xlabel(f"Hits in {attempts} attempts")
        axes.set_ylabel("Probability")
    return _drawing(
        "twenty-attempts", figure, shown, "Filled bars: within 1.96 standard errors of the mean"
    )


def draw_pooled_trials(shown: PooledTrials, *, size: SizeName = "slide") -> Drawing:
    """Draw the p values of both tests over many studies of two identical groups."""
    edges = np.linspace(0, 1, 21)
    with house(size):
        figure, panels = canvas(size, columns=2, share_y=True)
        for axes, p, (name, share) in zip(
            panels,
            (shown.pooled_p, shown.people_p),
            shown.false_positives[["test", "share"]].itertuples(index=False),
        ):
            counts = np.histogram(p, edges)[0] / len(p)
            axes.bar(edges[:-1], counts, 0.05, align="edge", color="#9fb8c8", edgecolor=PAPER)
            axes.bar(0, counts[0], 0.05, align="edge", color="#D55E00", edgecolor=PAPER)
            axes.axhline(0.05, color=INK, linestyle=(0, (4, 2)), linewidth=1.5)
            axes.set_title(name.capitalize())
            axes.text(0.13, 0.85, f"{digits.percent(share, 1)}\nbelow .05", color="#A84900",
                      fontsize="large", fontweight="bold", va="top",
                      transform=axes.transAxes)  # fmt: skip
            axes.set_xlabel("p value")
        panels[1].text(
            1,
            0.075,
            "dashed: what chance promises",
            ha="right",
            fontsize=mpl.rcParams["xtick.labelsize"],
        )
        panels[0].set_ylabel("Share of studies")
    return _drawing("pooled-trials", figure, shown, "Bars: share of studies in steps of .05")


def draw_averaged_curves(shown: AveragedCurves, *, size: SizeName = "slide") -> Drawing:
    """Draw learners, their average with both fits, and how often each form wins."""
    with house(size) as chosen:
        figure, (course, wins) = canvas(size, columns=2, width_ratios=(1.9, 1))
        course.plot(shown.practice, shown.errors.T, color=FAINT, alpha=0.35, linewidth=1)
        course.plot(shown.practice, shown.fitted["mean"], "o", color=INK, markersize=5)
        for look, lift in zip(looks(["exponential", "power"]).values(), (-1, 1)):
            course.plot(
                shown.practice,
                shown.fitted[look.group],
                color=look.colour,
                linestyle=look.line,
                linewidth=1.3 * chosen.line,
            )
            course.text(0.97, 0.8 - 0.09 * lift, f"{look.group} fit", color=look.text_colour,
                        ha="right", fontweight="bold", transform=course.transAxes)  # fmt: skip
        course.text(0.97, 0.62, "dots: average", ha="right", transform=course.transAxes)
        course.set_ylim(0, np.percentile(shown.errors, 99.8))
        course.set_xlabel("Practice trial")
        course.set_ylabel("Error (cm)")
        _wins(wins, shown.shares)
    return _drawing("averaged-curves", figure, shown, "Grey: single learners of one class")


def _wins(axes: Axes, shares: pd.DataFrame) -> None:
    places = np.arange(len(shares))
    spans = [shares["share"] - shares["conf_low"], shares["conf_high"] - shares["share"]]
    axes.bar(places, shares["share"], 0.6, color="#0072B2", yerr=spans, capsize=6, ecolor=INK)
    for place, share in zip(places, shares["share"]):
        axes.text(float(place), min(share + 0.08, 0.5), digits.percent(share), ha="center",
                  bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 3})  # fmt: skip
    axes.set_xticks(places, ["single\nlearners", "class\naverages"])
    axes.set_ylim(0, 1.02)
    axes.set_ylabel("Share in which exponential wins")


def draw_regression_to_mean(shown: RegressionToMean, *, size: SizeName = "slide") -> Drawing:
    """Draw everybody's pretest, and both tests of those who were chosen."""
    people = shown.people
    places = np.linspace(-0.35, 0.35, len(people))
    shift = dict(zip(people["participant"], np.random.default_rng(0).permutation(places)))
    groups = [name for name in ("programme", "control") if (people["group"] == name).any()]
    with house(size) as chosen:
        figure, panels = canvas(size, columns=1 + len(groups), share_y=True)
        jitter = people["participant"].map(shift)
        panels[0].plot(
            places, people["pretest"] + jitter, "o", color=FAINT, alpha=0.6, markersize=6
        )
        panels[0].axhline(people["pretest"].mean(), color=INK, linewidth=chosen.line)
        panels[0].set_xticks([0], [f"pretest of all {len(people)}"])
        panels[0].set_xlim(-0.6, 0.6)
        panels[0].set_ylabel(f"Hits of {shown.settings['attempts']}")
        for axes, (name, look) in zip(panels[1:], looks(groups).items()):
            rows = people[people["group"] == name]
            _pairs(axes, rows, rows["participant"].map(shift).to_numpy(), look, chosen.line)
            axes.axhline(people["pretest"].mean(), color=INK, linewidth=chosen.line / 2)
            axes.set_title(f"{name} (n = {len(rows)})")
    return _drawing(
        "regression-to-mean", figure, shown, "Thin lines: people; thick: mean; black: mean of all"
    )


def _expected(shown: TwentyAttempts) -> float:
    return float(shown.settings["attempts"] * shown.settings["hit_rate"])


def _drawing(name: str, figure: Figure, shown: Demonstration, caption: str) -> Drawing:
    return Drawing(name, figure, caption=f"{caption}. {shown.conclusion}", alt=shown.text)


def _pairs(axes: Axes, rows: pd.DataFrame, jitter: np.ndarray, look: Look, line: float) -> None:
    before, after = rows["pretest"].to_numpy() + jitter, rows["posttest"].to_numpy() + jitter
    axes.plot([0, 1], [before, after], color=look.colour, alpha=0.25, linewidth=line / 2)
    means = [rows["pretest"].mean(), rows["posttest"].mean()]
    axes.plot([0, 1], means, **look.line_style)
    for x, mean, side in zip((0, 1), means, ("right", "left")):
        axes.annotate(
            digits.number(mean, 1),
            (x, mean),
            (-14 if x == 0 else 14, 0),
            textcoords="offset points",
            ha=side,
            va="center",
            color=look.text_colour,
            fontweight="bold",
        )
    axes.set_xlim(-0.45, 1.45)
    axes.set_xticks([0, 1], ["pretest", "posttest"])


def _course_and_differences(
    means: pd.DataFrame,
    differences: pd.DataFrame,
    names: dict[str, str],
    people: dict[str, pd.Series],
    label: str,
    size: SizeName,
) -> Figure:
    groups = list(dict.fromkeys(means["group"]))
    with house(size) as chosen:
        figure, (course, gaps) = canvas(size, columns=2, width_ratios=(1.7, 1))
        ticks: dict[float, str] = {}
        practice = means[~means["moment"].isin(list(names))]
        upper = practice.groupby("group")["mean"].mean().idxmax()
        for place, look in enumerate(looks(groups).values()):
            _practice(course, practice[practice["group"] == look.group], look, look.group == upper)
            rows = means[means["group"] == look.group]
            ticks |= _tests(course, rows, names, people, look, place - 0.5)
        blocks = len(means["moment"].unique()) - len(names)
        course.axvspan(blocks + _GAP / 3, blocks + _GAP / 3 + 0.12, color=SOFT_INK, alpha=0.5)
        course.set_xticks(
            [1, blocks // 2, blocks, *ticks], ["1", str(blocks // 2), str(blocks), *ticks.values()]
        )
        course.set_xlabel("Practice block, then tests")
        course.set_ylabel(label)
        course.set_ylim(bottom=0)
        gaps.set_xlabel(f"{groups[1]}\nminus {groups[0]} (cm)")
        _differences_panel(gaps, differences, chosen.marker)
    return figure


def _practice(axes: Axes, rows: pd.DataFrame, look: Look, upper: bool) -> None:
    x = np.arange(1, len(rows) + 1)
    axes.fill_between(
        x, rows["conf_low"], rows["conf_high"], color=look.colour, alpha=0.15, linewidth=0
    )
    axes.plot(x, rows["mean"], **look.line_style)
    near = rows.iloc[3:8]
    axes.annotate(
        look.group,
        (4, near["conf_high"].max() if upper else near["conf_low"].min()),
        (0, 8 if upper else -8),
        textcoords="offset points",
        va="bottom" if upper else "top",
        color=look.text_colour,
        fontweight="bold",
    )


def _tests(
    axes: Axes,
    rows: pd.DataFrame,
    names: dict[str, str],
    people: dict[str, pd.Series],
    look: Look,
    side: float,
) -> dict[float, str]:
    start = len(rows) - len(names)
    ticks = {}
    for step, (moment, label) in enumerate(names.items()):
        x = start + _GAP * (step + 1) + 0.4
        row = rows[rows["moment"] == moment].iloc[0]
        ticks[x] = label
        if moment in people:
            dots = people[moment].loc[look.group].to_numpy()
            spread = np.linspace(-0.18, 0.18, len(dots))
            axes.plot(x + side * 0.9 + spread, dots, ".", color=look.colour, alpha=0.4)
        bar = [[row["mean"] - row["conf_low"]], [row["conf_high"] - row["mean"]]]
        axes.errorbar([x + side * 0.35], [row["mean"]], yerr=bar, capsize=6, **look.point_style)
    return ticks


def _differences_panel(axes: Axes, differences: pd.DataFrame, marker: float) -> None:
    places = np.arange(len(differences))[::-1]
    middle = differences["estimate"]
    spans = [middle - differences["conf_low"], differences["conf_high"] - middle]
    axes.axvline(0, color=SOFT_INK, linewidth=1.5)
    axes.errorbar(middle, places, xerr=spans, fmt="D", color=INK, capsize=6, markersize=marker)
    for place, row in zip(places, differences.itertuples(index=False)):
        text = f"{row.moment}: {digits.number(row.estimate, 1)}"
        axes.text(
            0.0,
            place + 0.2,
            text,
            transform=axes.get_yaxis_transform(),
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1},
        )
    reach = 1.6 * float(np.abs(differences[["conf_low", "conf_high"]].to_numpy()).max())
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-0.5, len(differences) - 0.3)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.locator_params(axis="x", nbins=5)
    axes.set_title("Difference, 95 % CI")
