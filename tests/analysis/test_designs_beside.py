"""What stands beside the primary answer of a design: it works, or refuses in words."""

import pytest
import studies

import motorlearn as ml
from motorlearn.analysis.study import page_analysis
from motorlearn.exceptions import InputError
from motorlearn.report.supervisor import supervisor_page

CHOICES = {"multiverse": {"models": ["unadjusted", "change score"]}}


def with_section(made, section):
    study = made()
    plan = study.design.model_dump(mode="json", exclude_unset=True)
    return studies.study(plan | section, study.trials.table)


@pytest.mark.parametrize(
    ("made", "words"), [("crossover", "conditions within people"), ("classes", "'class'")]
)
def test_interim_looks_are_refused_where_people_are_not_the_groups(made, words):
    with pytest.raises(InputError, match=f"interim counts people.*{words}"):
        with_section(getattr(studies, made), {"interim": {"fractions": [0.5, 1.0]}})


def test_a_multiverse_within_people_is_refused_and_of_classes_is_of_their_means():
    within = page_analysis(with_section(studies.crossover, CHOICES), mixed=False)
    assert "the primary comparison is of conditions within people" in within.multiverse.reason
    found = page_analysis(with_section(studies.classes, CHOICES), mixed=False)
    rows = found.multiverse.table.set_index("model")
    assert rows["n"].tolist() == [12, 12, 12] and (rows["reason"] == "").all()
    assert rows.loc["ancova", "p"] == found.primary["p"].iloc[0]
    assert rows.loc["unadjusted", "df"] == 10


@pytest.mark.parametrize(
    ("aim", "claim"),
    [
        ("non-inferiority", "random worse than blocked by less than 3.0 cm, if at all"),
        ("superiority", "random better than blocked"),
        ("minimum effect", "an effect of more than 3.0 cm, in whichever direction"),
    ],
)
@pytest.mark.parametrize(("effect", "held"), [(-0.5, True), (0.0, False)])
def test_the_page_says_what_the_plan_aimed_at_and_whether_it_is_shown(aim, claim, effect, held):
    parts = [("pretest", 1, 1, 10), ("acquisition", 1, 1, 10), ("retention", 2, 1, 10)]
    named = {"groups": ["random", "blocked"], "aim": aim}
    plan = studies.plan(
        studies.ERROR,
        smallest_effect={"value": 3, "reason": "a hand's breadth"},
        primary={"outcome": "radial_error"} | named,
        units={"length": "cm"},
    )
    table = studies.trials(40, parts, seed=4, effect=effect)
    study = studies.study(plan, table, "x", "y", "radial_error")
    said = dict(supervisor_page(page_analysis(study, mixed=False)).entries)["primary result"]
    shown = "That is shown (" if held else "That is not shown, which does not show the contrary ("
    assert said[1].startswith(f"The plan aimed at {aim}: {claim}. {shown}95 % CI ")


def test_one_class_in_a_group_is_not_tested_and_said_so():
    study = studies.classes()
    table = study.trials.table
    first = table.drop_duplicates("group")["class"]
    few = studies.study(
        study.design.model_dump(mode="json", exclude_unset=True),
        table[table["class"].isin(first)],
    )
    found = ml.analyse_study(few)
    assert "with one class in a group nothing tells the class from its schedule" in found.refused
