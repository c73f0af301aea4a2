"""What a comparison goes by and no file holds: groups, covariates; one class, one person."""

import pytest
import studies

import motorlearn as ml


def checked(tmp_path, study, change=lambda table: table, more=""):
    folder = studies.write(study, tmp_path / "study")
    plan = folder if folder.is_file() else folder / "study.toml"
    plan.write_text(plan.read_text() + more)
    trials = plan.parent / "trials.csv"
    table = change(ml.trials.read_trials(trials).table)
    table.to_csv(trials, index=False)
    return ml.read_study(plan.parent).problems.set_index("rule")


def test_a_plan_of_groups_whose_files_name_none_says_where_to_name_them(tmp_path):
    problems = checked(tmp_path, studies.two_factors(), lambda t: t.drop(columns="group"))
    found = problems.loc["no file says who is in which group"]
    assert found["severity"] == "error" and found["column"] == "group"
    assert 'participants = "participants.csv"' in found["advice"]


def test_a_covariate_in_no_file_is_an_error(tmp_path):
    study = studies.two_factors()
    plan = study.design.model_dump(mode="json", exclude_unset=True)
    plan["primary"] = plan["primary"] | {"covariates": ["age"]}
    problems = checked(tmp_path, studies.study(plan, study.trials.table))
    found = problems.loc["covariate of the plan in no file"]
    assert (found["value"], found["severity"]) == ("age", "error")


@pytest.mark.parametrize(
    ("made", "column", "rule"),
    [("two_factors", "participant", "one person in a group"), ("classes", "class", "one class in")],
)
def test_one_person_or_class_in_a_group_is_a_doubt(tmp_path, made, column, rule):
    study = getattr(studies, made)()
    last = study.design.group_names[-1]

    def fewer(table):
        here = table["group"] == last
        return table[~here | (table[column] == table.loc[here, column].iloc[0])]

    problems = checked(tmp_path, study, fewer)
    found = problems[problems.index.str.startswith(rule)]
    assert found["severity"].tolist() == ["doubt"]
    assert f"alone in {last}" in found["value"].iloc[0]


ALIKE = {
    "case": ({"P02": "Random", "P04": "Random"}, ["Random (n = 2)"]),
    "a letter": ({"P02": "rndom"}, ["rndom (n = 1)"]),
    "half of them": (dict.fromkeys(("P02", "P04", "P06", "P08"), "randoms"), []),
    "another word": ({"P02": "serial"}, []),
}


@pytest.mark.parametrize("name", ALIKE)
def test_a_group_spelled_two_ways_is_asked_about_and_one_name_mends_it(tmp_path, name):
    slips, told = ALIKE[name]
    table = studies.trials(16, studies.PARTS, seed=5)[
        ["participant", "group", "phase", "session", "block", "trial", "radial_error"]
    ]
    table["group"] = table["participant"].map(slips).fillna(table["group"])
    table.to_csv(tmp_path / "slides.csv", index=False)
    study = ml.trials.take_in(tmp_path / "slides.csv", tmp_path / "new").study
    found = study.problems[study.problems["rule"] == "groups of much the same name"]
    assert found["value"].tolist() == told and set(found["severity"]) <= {"doubt"}
    if told:
        assert found["advice"].str.contains("resembles 'random'").all()
        asked = ml.trials.Asked(groups=dict.fromkeys(slips.values(), "random"))
        mended = ml.trials.take_in(tmp_path / "slides.csv", tmp_path / "mended", asked=asked).study
        assert set(mended.design.group_names) == {"blocked", "random"}
        told = {"groups of much the same name", "code without a level"}
        assert not told & set(mended.problems["rule"])
        assert mended.trials.table.query("group == 'random'")["participant"].nunique() == 8
