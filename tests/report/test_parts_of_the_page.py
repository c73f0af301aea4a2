"""Parts of the supervisor's page and of a summary of studies, by hand."""

import math
import statistics
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from studies import ERROR as ERROR_IN_CM
from studies import PARTS, plan, study, trials

import motorlearn as ml
from motorlearn.analysis.study import page_analysis
from motorlearn.compare import Limit
from motorlearn.design import Outcome, design_from_mapping
from motorlearn.exceptions import InputError
from motorlearn.report import several, study_page, supervisor
from motorlearn.report.case_rows import rows_of_case
from motorlearn.report.meta_analysis import _on_scale, random_effects, synthesise
from motorlearn.report.sections.beside import _curves
from motorlearn.report.sections.closing import _with_outcome
from motorlearn.report.sections.outcome_tables import adjusted_table, contrasts_table
from motorlearn.report.sections.primary import change_sentences
from motorlearn.report.sections.results import _interaction
from motorlearn.report.sections.secondary import _contrasts, secondary_table
from motorlearn.report.sections.spreads import spread_sections
from motorlearn.report.view import view_of
from motorlearn.report.writers.contents import Text
from motorlearn.results import Refused
from motorlearn.trials import Study, Trials
from motorlearn.wording import Voice
from motorlearn.wording.captions import scores_words

ERROR = Outcome(name="radial_error", unit="cm", better="lower")
TWO_TESTS = {
    "study": {"title": "Ring push"},
    "groups": [{"name": "a"}, {"name": "b"}],
    "tests": [
        {"phase": "pretest", "trials": 9},
        {"phase": "retention", "trials": 9, "interval_days": 1},
    ],
    "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
}
BEFORE, LATER = (
    math.exp(2 * statistics.stdev([math.log(start + step * i) for i in range(5)]))
    for start, step in ((30, 3), (28, 5))
)


@pytest.mark.parametrize("length", [417, 418, 419, 420, 421, 422, 500])
def test_a_long_entry_is_cut_between_words_and_stays_within_the_limit(length):
    text = ("word " * 100)[:length]
    cut = supervisor._cut(text)
    assert len(cut) <= supervisor.LONG
    assert cut == text if length <= supervisor.LONG else cut.endswith("word …")


@pytest.mark.parametrize(
    ("flagged", "said"), [(4, []), (5, ["and 1 more, which the report lists"])]
)
def test_four_open_assumptions_are_told_and_the_rest_counted(flagged, said):
    table = pd.DataFrame(
        {
            "assumption": [f"number {i}" for i in range(7)],
            "grade": ["act"] * flagged + ["fine"] * (7 - flagged),
            "finding": "seen",
            "remedied": "",
            "value": 1.0,
        }
    )
    told = supervisor._open(SimpleNamespace(table=table))
    assert told[1:5] == [f"number {i} (act): seen" for i in range(4)]
    assert told[5:] == said


@pytest.mark.parametrize("name", ["page.docx", "page", "page.txt"])
def test_the_page_is_written_as_html_or_pdf_only(name, tmp_path):
    page = supervisor.SupervisorPage("Ring push", "2.5 cm", (("people", ("24",)),), ())
    told = rf"the page is written as HTML or PDF.*'{name}'.*end the name in \.html or \.pdf"
    with pytest.raises(InputError, match=told):
        page.write(tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def compared(*phases):
    rows = [
        (f"{group}{person}", group, phase, 30 + person * (3 if group == "a" else 2) + late)
        for late, phase in enumerate(phases) for group in "ab" for person in range(5)
    ]  # fmt: skip
    table = pd.DataFrame(rows, columns=["participant", "group", "phase", "radial_error"])
    baseline = "pretest" if "pretest" in phases else None
    return ml.compare_phases(table, "radial_error", group="group", baseline=baseline)


def test_adjusted_means_say_that_their_interval_is_of_95_percent():
    voice = Voice(design_from_mapping(TWO_TESTS), ERROR, 1, ".")
    found = compared("pretest", "retention")
    entry = SimpleNamespace(comparison=found, voice=voice, outcome=ERROR)
    labels = [column.label for column in adjusted_table(entry).columns]
    assert labels[2:] == ["adjusted mean", "95 % CI lower", "upper", "standard error", "df"]


def test_contrasts_of_differences_are_written_with_a_minus():
    voice = Voice(design_from_mapping(TWO_TESTS), ERROR, 1, ".")
    entry = SimpleNamespace(comparison=compared("pretest", "retention"), voice=voice)
    table = contrasts_table(entry, "contrasts", "Contrasts", adjusted=True)
    assert list(table.rows["contrast"]) == ["b − a"]


def test_with_one_test_there_is_no_change_to_tell():
    found = compared("retention")
    entry = SimpleNamespace(comparison=found, analysis=SimpleNamespace(change_stages=None))
    assert change_sentences(SimpleNamespace(), entry) == [
        "There is one test only, so no change from test to test can be told."
    ]


@pytest.mark.parametrize(
    ("effect", "unit", "value", "bound"),
    [
        # SDs of 30, 33 … 42 before and of 28, 33 … 48 later: sqrt(22.5) and sqrt(62.5).
        ("difference", "score", 2.0, "−2.0 to 2.0 cm"),
        ("difference", "sd", 2.0, "−15.8 to 15.8 cm"),
        ("difference", "average sd", 2.0, "−15.8 to 15.8 cm"),
        ("difference", "baseline sd", 2.0, "−9.5 to 9.5 cm"),
        ("ratio", "score", 0.8, "0.80 to 1.25"),
        ("ratio", "score", 1.25, "0.80 to 1.25"),
        ("ratio", "sd", 2.0, f"{1 / LATER:.2f} to {LATER:.2f}"),
        ("ratio", "baseline sd", 2.0, f"{1 / BEFORE:.2f} to {BEFORE:.2f}"),
    ],
)
def test_a_bound_of_one_group_is_that_of_the_scores_it_counts(effect, unit, value, bound):
    rows = [(f"P{i}", "a", "pretest", 30 + 3 * i) for i in range(5)]
    rows += [(f"P{i}", "a", "retention", 28 + 5 * i) for i in range(5)]
    found = ml.compare_phases(
        pd.DataFrame(rows, columns=["participant", "group", "phase", "radial_error"]),
        "radial_error", group="group", baseline="pretest", effect=effect, equivalence=value,
        equivalence_unit=unit,
    )  # fmt: skip
    entry = SimpleNamespace(
        comparison=found,
        voice=Voice(design_from_mapping(TWO_TESTS), ERROR, 1, "."),
        analysis=SimpleNamespace(change_stages=("pretest", "retention")),
    )
    said = change_sentences(SimpleNamespace(groups=["a"]), entry)
    assert f"smallest effect of interest declared beforehand ({bound})" in said[-1]


def test_tests_are_counted_by_what_was_asked_of_them():
    tests = pd.DataFrame({"label": ["exploratory", "primary", "secondary", "exploratory"]})
    assert supervisor._counted(tests) == (
        "4 tests of scores: 1 primary, 1 secondary and 2 exploratory."
    )


def test_a_new_study_lies_within_student_on_two_fewer_degrees_of_freedom():
    # Three studies at .1, .5, .9 with error .1: tau² = .16 - .01, weights 1 / .16, and
    # mean -+ t(.975; 1) sqrt(tau² + .16 / 3), t = 12.7062 (printed tables).
    found = random_effects(np.array([0.1, 0.5, 0.9]), np.full(3, 0.1))
    half = 12.7062 * np.sqrt(0.15 + 0.16 / 3)
    assert found.prediction == pytest.approx((0.5 - half, 0.5 + half), rel=1e-5)
    half = stats.t.isf(0.025, 2) * np.sqrt(0.16 / 3)
    assert found.interval == pytest.approx((0.5 - half, 0.5 + half))


def test_studies_that_agree_too_well_get_no_narrower_interval():
    # tau² = 0 and Q / (k - 1) far below 1: the variance of the mean stays 1 / sum of weights.
    found = random_effects(np.array([0.5, 0.5, 0.501]), np.full(3, 0.1))
    assert found.tau2 == 0
    half = stats.t.isf(0.025, 2) * 0.1 / np.sqrt(3)
    assert found.interval[1] - found.mean == pytest.approx(half)


def test_the_error_of_g_is_its_interval_over_twice_1_96():
    rows = [pd.Series({"g": 0.5, "g_low": 0.5 - 1.959964 * 0.2, "g_high": 0.5 + 1.959964 * 0.2})]
    y, error = _on_scale(rows, "g")
    assert y == pytest.approx([0.5]) and error == pytest.approx([0.2], rel=1e-6)


def test_the_share_of_variance_between_studies_by_hand():
    # Q = sum (y - mean)² / se² = 32 with 2 degrees of freedom: I² = (32 - 2) / 32.
    common = {"effect": "difference", "std_error": 0.1, "n_group": 9, "n_reference": 9}
    rows = {
        name: pd.Series(common | {"estimate": y, "conf_low": y - 0.2, "conf_high": y + 0.2})
        for name, y in (("first", 0.1), ("second", 0.5), ("third", 0.9))
    }
    found = synthesise(rows)
    assert found.q == pytest.approx(32) and found.i2 == pytest.approx(30 / 32)
    assert found.q_p == pytest.approx(stats.chi2.sf(32, 2))


def summary_of(*estimates):
    row = {"effect": "difference", "group": "random", "reference": "blocked", "std_error": 0.1}
    row |= {"n_group": 9, "n_reference": 9}
    return synthesise(
        {
            f"study {i}": pd.Series(
                row | {"estimate": y, "conf_low": y - 0.2, "conf_high": y + 0.2}
            )
            for i, y in enumerate(estimates)
        }
    )


def test_every_contrast_but_the_primary_one_stands_among_the_secondary_results():
    tests = [*TWO_TESTS["tests"], {"phase": "transfer", "trials": 9, "interval_days": 2}]
    time = {"name": "time", "unit": "s", "better": "lower"}
    plan = TWO_TESTS | {"tests": tests, "outcomes": [*TWO_TESTS["outcomes"], time]}
    plan |= {"primary": {"outcome": "radial_error", "phase": "retention", "groups": ["b", "a"]}}
    rng = np.random.default_rng(1)
    rows = [
        (f"{group}{person}", group, phase, rng.normal(30, 4))
        for phase in ("pretest", "retention", "transfer") for group in "ab" for person in range(5)
    ]  # fmt: skip
    table = pd.DataFrame(rows, columns=["participant", "group", "phase", "radial_error"])
    study = Study(design_from_mapping(plan), Trials(table.assign(time=table["radial_error"] / 9)))
    found = view_of(page_analysis(study, mixed=False), decimal=".")
    shown = secondary_table(found).rows
    assert shown[["outcome", "test", "contrast"]].to_numpy().tolist() == [
        ["radial error", "Transfer", "b − a"],
        ["time", "Delayed retention", "b − a"],
        ["time", "Transfer", "b − a"],
    ]


def test_what_was_not_compared_has_no_row_among_the_secondary_results():
    nothing = SimpleNamespace(comparison=Refused("no scores"))
    assert list(_contrasts(SimpleNamespace(outcomes=[nothing]), nothing)) == []


def sessions_of(*people):
    rows = [
        (person, session, condition, score)
        for person, more in people
        for session, (condition, score) in enumerate(
            [("A", y) for y in (3, 5, 4, 6)] + [("B", y + more) for y in (7, 6, 9, 8)], start=1
        )
    ]
    return pd.DataFrame(rows, columns=["participant", "session", "condition", "score"])


def test_the_answer_of_one_case_is_its_difference_and_of_several_their_mean():
    one = ml.compare.analyse_single_case(sessions_of(("P01", 0)), "score")
    first, *others = rows_of_case(one)
    alone = one.of("P01", "difference")
    assert (first["contrast"], first["first"]) == ("B − A", True)
    assert first["estimate"] == 3 and first["conf_low"] == alone["conf_low"] < 3
    assert [row["first"] for row in others] == [False] * len(one.estimates)
    two = ml.compare.analyse_single_case(sessions_of(("P01", 0), ("P02", 2)), "score")
    first, *others = rows_of_case(two)
    assert first["contrast"] == "B − A, over the cases"
    assert first["estimate"] == pytest.approx(4)
    assert [row["estimate"] for row in others if "difference" in row["contrast"]] == [3, 5]


def test_a_further_study_is_predicted_from_three_and_not_from_two():
    assert "further study" not in several._sentence(summary_of(0.1, 0.5), ".")
    told = several._sentence(summary_of(0.1, 0.5, 0.9), ".")
    half = 12.7062 * math.sqrt(0.15 + 0.16 / 3)
    span = f"from −{half - 0.5:.2f} to {half + 0.5:.2f} (95 %)"
    assert told.endswith(f"The effect in a further study is predicted to lie {span}.")


def test_the_diamond_of_several_studies_is_the_summary():
    found = summary_of(0.1, 0.5, 0.9)
    voice = Voice(design_from_mapping(TWO_TESTS), ERROR, 1, ".")
    views = {"study 0": SimpleNamespace(outcomes=[SimpleNamespace(voice=voice)])}
    lines = several._forest(views, found, ".").figure.axes[0].lines
    marked = [(line.get_marker(), *line.get_xydata()[0]) for line in lines]
    assert [mark for mark in marked if mark[0] == "D"] == [("D", found.estimate, 3.0)]
    assert [mark[1:] for mark in marked if mark[0] == "s"] == [(0.1, 0), (0.5, 1), (0.9, 2)]


@pytest.mark.parametrize(
    ("kind", "several", "named"),
    [
        ("unequal spread", True, "time"),
        ("unequal spread", False, ""),
        ("no delayed test", True, ""),
    ],
)
def test_only_limits_of_scores_name_their_outcome_and_only_beside_others(kind, several, named):
    found = SimpleNamespace(outcomes=["time", "hits"] if several else ["time"])
    assert _with_outcome(Limit(kind), "time", found).outcome == named


def test_a_model_of_spread_stands_under_its_own_outcome():
    views = [
        SimpleNamespace(outcome=SimpleNamespace(name=name), voice=SimpleNamespace(name=said))
        for name, said in (("hits", "hits of 20"), ("variable_error", "variable error"))
    ]
    analysis = SimpleNamespace(spreads={"variable_error": Refused("two trials a person")})
    head, text = spread_sections(SimpleNamespace(analysis=analysis, outcomes=views))
    assert head.text == "How variable performers are: variable error"
    assert text.text == "Not computed: two trials a person."


@pytest.mark.parametrize(
    ("single", "said"), [((), {"not compared: time": "no scores"}), ((1,), {})]
)
def test_an_outcome_that_could_not_be_compared_says_why_unless_nobody_is_compared(single, said):
    analysis = SimpleNamespace(
        refused="", audit=None, sensitivity=None, mixed_audit=None, single_cases=single,
        comparisons={"time": Refused("no scores"), "hits": "a comparison"},
    )  # fmt: skip
    assert study_page._verdicts(analysis) == said


@pytest.mark.parametrize(
    ("blocks", "short", "nobody"), [(6, 0, False), (6, 3, False), (5, 0, True)]
)
def test_forms_are_counted_only_where_aicc_can_compare_them(blocks, short, nobody):
    """A curve has three terms and a spread, and AICc a value from six scores on."""
    parts = [PARTS[0], *PARTS[1 : blocks + 1], PARTS[-1]]
    table = trials(8, parts, seed=4)
    few = table["participant"].isin([f"P{i:02d}" for i in range(1, short + 1)])
    table = table[~(few & (table["block"] == 6))]
    made = study(plan(ERROR_IN_CM, units={"length": "cm"}), table, "radial_error")
    found = ml.analyse_study(made)
    shown = list(_curves(found.curves, view_of(found, decimal=".")))
    text = " ".join(block.text for block in shown if isinstance(block, Text))
    titles = [block.title for block in shown if hasattr(block, "rows")]
    assert ("too few blocks for AICc to prefer either" in text) == nobody
    assert ("the form that fits closer" in text) == nobody
    assert any("preferred by AICc" in title for title in titles) != nobody
    assert ("compares no forms for 3 participants with too few blocks" in text) == bool(short)


@pytest.mark.parametrize("parts", [2, 3])
def test_a_correction_for_sphericity_is_told_where_there_is_one(parts):
    """Two parts have one difference, and so nothing that could vary unlike another."""
    phases = ["pretest", "posttest", "retention"][:parts]
    rng = np.random.default_rng(5)
    voice = Voice(design_from_mapping(TWO_TESTS), ERROR, 1, ".")
    for column in ("group", ["order", "aid"]):
        rows = pd.DataFrame(
            [
                (f"p{i}", "ab"[i % 2], "cd"[i // 2 % 2], phase, rng.normal(10))
                for i in range(16)
                for phase in phases
            ],
            columns=["participant", "group", "aid", "phase", "radial_error"],
        ).assign(order=lambda t: t["group"])
        compared = ml.compare_phases(rows, "radial_error", group=column, baseline="pretest")
        said = " ".join(_interaction(compared, voice, "{tab:anova}"))
        assert ("Greenhouse-Geisser" in said) == (parts == 3) and "η²" in said


@pytest.mark.parametrize(("phase", "shown"), [("pretest", False), ("retention", True)])
def test_a_caption_speaks_of_adjusted_means_only_where_some_are_drawn(phase, shown):
    rows = pd.DataFrame(
        [
            (f"p{i}", "ab"[i % 2], phase, float(i * i % 7 + 3 * (phase == "pretest")))
            for i in range(12)
            for phase in ("pretest", "retention")
        ],
        columns=["participant", "group", "phase", "radial_error"],
    )
    found = ml.compare_phases(rows, "radial_error", group="group", baseline="pretest")
    voice = Voice(design_from_mapping(TWO_TESTS), ERROR, 1, ".")
    words = scores_words(found.means, found.adjusted_means, [phase], voice)
    assert ("Open symbols" in words.caption) == shown
