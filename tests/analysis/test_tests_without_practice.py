"""A plan whose analysis of variance over parts of the study leaves practice out."""

from dataclasses import replace

import pytest
import studies

import motorlearn as ml
from motorlearn.exceptions import DesignError


@pytest.fixture(scope="module")
def analysed():
    content = studies.plan(studies.ERROR, units={"length": "cm"}, anova={"parts": "tests"})
    table = studies.trials(8, studies.PARTS, seed=10)
    return ml.analyse_study(studies.study(content, table))


def test_the_analysis_of_variance_takes_the_tests_alone(analysed):
    found = analysed.comparisons["radial_error"]
    tests = found.recipe.options["anova_phases"]
    assert tests == ("pretest", "retention")
    assert "acquisition" in found.recipe.options["phases"]
    assert set(found.means["phase"]) >= {"pretest", "acquisition", "retention"}
    alone = ml.compare_phases(
        found.scores.rename(columns={"score": "radial_error"}), "radial_error",
        group="group", phases=list(tests), groups=list(found.recipe.options["groups"]),
    )  # fmt: skip
    own = found.anova.set_index("term")["statistic"]
    for term, value in alone.anova.set_index("term")["statistic"].items():
        assert own[term] == pytest.approx(value)


def test_method_and_report_say_so(analysed, tmp_path, no_pictures):
    written = ml.write_report(analysed, tmp_path / "report")
    text = (tmp_path / "report" / "report.html").read_text()
    assert "changed differently over the tests" in text and written
    assert "over all parts of the study" not in text
    assert "takes the tests without practice" in text or "took the tests without practice" in text


def test_conditions_within_people_take_the_tests_alone_too():
    crossed = studies.crossover()
    plan = crossed.design.model_copy(
        update={"anova": crossed.design.anova.model_copy(update={"parts": "tests"})}
    )
    found = ml.analyse_study(replace(crossed, design=plan)).comparisons["radial_error"]
    assert found.recipe.options["anova_phases"] == ("pretest", "retention")
    assert found.anova.set_index("term").loc["phase", "df1"] == 1


def test_one_test_is_refused():
    with pytest.raises(DesignError, match="needs two tests"):
        ml.design.design_from_mapping(
            studies.plan(
                studies.ERROR,
                anova={"parts": "tests"},
                tests=[{"phase": "posttest", "trials": 10}],
                primary={"outcome": "radial_error", "phase": "posttest"},
            )
        )
    with pytest.raises(DesignError, match="anova"):
        ml.design.design_from_mapping(studies.plan(studies.ERROR, anova={"part": "tests"}))
