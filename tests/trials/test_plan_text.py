"""A plan is its author's text: an import changes its own section and no other sign."""

import tomllib

import pytest

from motorlearn.design import ImportRecipe, read_design
from motorlearn.trials.importing.recipe_text import without_section, write_recipe

PLAN = '''# Our study, begun in March
[study]
title = "Ring push"   # working title
question = """
Does it help?
[import]
is not a section here
"""

{section}
[[groups]]
name = "blocked"  # first
[[groups]]
name = "random"

[[tests]]
phase = "pretest"
trials = 6

[[outcomes]]
name = "hits"
better = "higher"
# the end
'''
SECTION = """[import]  # how the log is read
file = "old.csv"
# we use a semicolon
separator = ";"
[import.columns]
ID = "participant"  # as in the club's lists

"""
OTHERS = {
    "none": "",
    "section": SECTION,
    "inline": 'import = {file = "old.csv", mode = "lenient"}\n',
    "dotted": 'import.file = "old.csv"\nimport.mode = "lenient"\n',
    "quoted": '["import"]\nfile = "old.csv"\n',
}
RECIPE = ImportRecipe(file="new.csv", separator=";", columns={"ID": "participant"})


def plan_with(kind):
    section, text = OTHERS[kind], PLAN
    if kind in ("inline", "dotted"):  # keys of the whole plan stand before the first section
        return section + text.replace("{section}", "")
    return text.replace("{section}", section)


@pytest.mark.parametrize("kind", OTHERS)
def test_a_recipe_is_put_in_and_nothing_else_changes(tmp_path, kind):
    plan = tmp_path / "study.toml"
    plan.write_text(plan_with(kind))
    before = tomllib.loads(plan.read_text())
    write_recipe(plan, RECIPE)
    after = tomllib.loads(plan.read_text())
    assert read_design(plan).recipe == RECIPE
    assert {k: v for k, v in before.items() if k != "import"} == {
        k: v for k, v in after.items() if k != "import"
    }
    text = plan.read_text()
    for comment in ("# Our study", "# working title", "# first", "# the end", "is not a section"):
        assert comment in text
    write_recipe(plan, RECIPE)
    assert plan.read_text() == text


def test_comments_of_the_section_itself_stay(tmp_path):
    plan = tmp_path / "study.toml"
    plan.write_text(plan_with("section"))
    write_recipe(plan, RECIPE)
    text = plan.read_text()
    for comment in ("# how the log is read", "# we use a semicolon", "# as in the club's lists"):
        assert comment in text
    assert "old.csv" not in text


def test_a_section_is_taken_out_and_a_question_stays():
    text = plan_with("section")
    rest = tomllib.loads(without_section(text, "import"))
    assert rest == {k: v for k, v in tomllib.loads(text).items() if k != "import"}
