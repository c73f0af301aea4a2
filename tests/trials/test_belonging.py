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
