"""Field sheets: printed, filled in as people do, read back without a mapping, nothing lost."""

import openpyxl
import pytest
from field_days import fill_ratings, fill_sessions, fill_tests, heading_row, programme_folder

import motorlearn as ml


@pytest.fixture
def folder(tmp_path):
    return programme_folder(tmp_path / "ring", size=4)


def typed(folder, changes, *, sheet="week 2", file="tests.xlsx"):
    """Type into cells: person and heading to what is typed."""
    path = folder / "sheets" / file
    book = openpyxl.load_workbook(path)
    page = book[sheet]
    top = heading_row(page)
    names = {str(page.cell(top, c).value): c for c in range(1, page.max_column + 1)}
    people = {page.cell(r, 1).value: r for r in range(top + 1, page.max_row + 1)}
    for (person, heading), value in changes.items():
        page.cell(people[person], names[heading]).value = value
    book.save(path)


def boxes(person, values):
    return {(person, str(number)): value for number, value in enumerate(values, start=1)}


def rules(study):
    shown = study.problems[["rule", "severity", "sheet", "row", "column", "value"]]
    return dict(iter(shown.groupby("rule")))


def test_a_filled_test_day_is_read_back_as_it_was_typed(folder):
    fill_tests(folder)
    study = ml.read_study(folder)
    table = study.trials.table
    assert len(table) == 4 * 4 * 20
    assert list(dict.fromkeys(table["test"])) == ["pretest", "week 2", "week 4", "one week after"]
    assert table["phase"].unique().tolist() == ["pretest", "progress", "retention"]
    book = openpyxl.load_workbook(folder / "sheets" / "tests.xlsx")
    page = book["week 4"]
    top = heading_row(page)
    want = [page.cell(top + 2, c).value for c in range(2, 22)]
    mine = table[(table["participant"] == "P02") & (table["test"] == "week 4")]
    assert mine["hit"].tolist() == want
    assert (study.problems["severity"] == "error").sum() == 0, study.problems.to_string()


def test_sessions_and_ratings_come_back(folder):
    fill_tests(folder)
    fill_sessions(folder)
    fill_ratings(folder)
    study = ml.read_study(folder)
    assert len(study.sessions) == 8 * 4
    assert set(study.sessions["present"].dropna()) <= {0.0, 1.0}
    assert "met: standing push" in study.sessions
    assert study.ratings["participant"].notna().all()
    assert study.ratings["score"].max() == 3
    assert set(study.ratings["test"]) == {"pretest", "week 2", "week 4", "one week after"}
    assert (study.problems["severity"] == "error").sum() == 0, study.problems.to_string()


def test_who_left_is_kept_apart_with_the_reason_and_not_scored_as_nothing(folder):
    fill_tests(folder)
    gone = {**boxes("P03", [None] * 20), ("P03", "why missing"): "left the club"}
    typed(folder, gone, sheet="one week after")
    study = ml.read_study(folder)
    found = rules(study)["learner did not take the test"]
    assert found["value"].tolist() == ["P03: left the club"]
    assert found["severity"].tolist() == ["note"]
    table = study.trials.table
    assert not ((table["participant"] == "P03") & (table["test"] == "one week after")).any()
    assert "left the club" in set(study.trials.set_aside["reason"])


def test_17_of_20_is_a_doubt_of_counting_and_no_missing_value(folder):
    fill_tests(folder)
    typed(folder, boxes("P01", [1] * 9 + [0] * 8 + [None] * 3))
    study = ml.read_study(folder)
    table = study.trials.table
    mine = table[(table["participant"] == "P01") & (table["test"] == "week 2")]
    assert (len(mine), mine["hit"].sum()) == (17, 9)
    note = rules(study)["fewer trials than planned"]
    assert note["value"].tolist() == ["P01, progress: 37 of 40"]


def test_a_total_alone_counts_and_a_wrong_total_is_named_by_its_cell(folder):
    fill_tests(folder)
    typed(folder, {**boxes("P01", [None] * 20), ("P01", "total"): "9 of 17"})
    typed(folder, {**boxes("P02", [1] * 5 + [0] * 15), ("P02", "total"): 7})
    study = ml.read_study(folder)
    table = study.trials.table
    mine = table[(table["participant"] == "P01") & (table["test"] == "week 2")]
    assert mine[["hits", "attempts"]].values.tolist() == [[9, 17]]
    wrong = rules(study)["total differs from the boxes"]
    assert wrong["value"].tolist() == ["7 written, 5 in the boxes"]
    assert wrong["column"].iloc[0].startswith("total [")
    scores = ml.score_trials(table, ["participant", "test"]).set_index(["participant", "test"])
    assert scores.loc[("P01", "week 2"), ["hits", "attempts"]].tolist() == [9, 17]
    assert scores.loc[("P02", "week 2"), ["hits", "attempts"]].tolist() == [5, 20]


def test_an_illegible_box_a_word_and_an_odd_number_are_named_and_kept_as_missing(folder):
    fill_tests(folder)
    typed(folder, {("P01", "3"): "?", ("P02", "4"): "perhaps", ("P03", "5"): 2})
    study = ml.read_study(folder)
    found = rules(study)
    assert found["illegible value"]["column"].tolist() == ["3 [D]"]
    assert found["text among numbers"]["column"].tolist() == ["4 [E]"]
    assert found["impossible value"]["value"].tolist() == ["2"]
    assert found["impossible value"]["column"].tolist() == ["5 [F]"]
    assert len(study.trials.table) == 4 * 4 * 20


def test_two_learners_with_one_name_are_both_kept_and_named(folder):
    fill_tests(folder)
    typed(folder, {("P02", "participant"): "P01"})
    study = ml.read_study(folder)
    found = rules(study)
    assert found["two lines of one person"]["value"].tolist() == ["P01"]
    assert "duplicate trial" not in found, "said once, and not for each of the boxes"
    twice = study.trials.table.query("participant == 'P01' and test == 'week 2'")
    assert len(twice) == 40, "nothing is lost"


def test_a_sheet_typed_by_two_people_is_compared_box_by_box(folder):
    fill_tests(folder)
    path = folder / "sheets" / "tests.xlsx"
    book = openpyxl.load_workbook(path)
    copy = book.copy_worksheet(book["week 2"])
    copy.title = "week 2 again"
    top = heading_row(copy)
    copy.cell(top + 1, 2).value = 1 - copy.cell(top + 1, 2).value
    book.save(path)
    study = ml.read_study(folder)
    found = rules(study)["typed twice, differently"]
    assert found[["sheet", "column"]].values.tolist() == [["week 2 again", "1 [B]"]]
    assert len(study.trials.table) == 4 * 4 * 20, "the second typing is no further test"


def test_a_test_on_the_wrong_day_is_asked_about(folder):
    fill_tests(folder)
    fill_sessions(folder)
    path = folder / "sheets" / "tests.xlsx"
    book = openpyxl.load_workbook(path)
    page = book["one week after"]
    row = next(r for r in range(1, 12) if page.cell(r, 1).value == "date")
    page.cell(row, 2).value = "2026-04-20"
    book.save(path)
    found = rules(ml.read_study(folder))
    assert found["test on another day than planned"]["value"].iloc[0] == "one week after: 25 days"


def test_a_sheet_of_an_older_plan_loses_nothing(folder):
    fill_tests(folder)
    plan = folder / "study.toml"
    plan.write_text(plan.read_text().replace("week 2", "half time"))
    study = ml.read_study(folder)
    found = rules(study)["test not in the plan"]
    assert found["value"].tolist() == ["week 2"], "said once for the sheet"
    assert len(study.trials.table) == 4 * 4 * 20
    advice = study.problems.loc[study.problems["rule"] == "test not in the plan", "advice"]
    assert "half time" in advice.iloc[0]


def test_sheets_of_learners_are_read_as_well(folder):
    plan = folder / "study.toml"
    plan.write_text(plan.read_text().replace("sheets/tests.xlsx", "sheets/learners.xlsx"))
    path = folder / "sheets" / "learners.xlsx"
    book = openpyxl.load_workbook(path)
    page = book["P02"]
    top = heading_row(page)
    names = {str(page.cell(top, c).value): c for c in range(1, page.max_column + 1)}
    for box in range(1, 21):
        page.cell(top + 2, names[str(box)]).value = box % 2
    book.save(path)
    table = ml.read_study(folder).trials.table
    assert table[["participant", "test", "phase"]].drop_duplicates().values.tolist() == [
        ["P02", "week 2", "progress"]
    ]
    assert table["hit"].sum() == 10


def test_a_decimal_comma_is_one_finding_and_a_time_is_read(tmp_path):
    folder = programme_folder(tmp_path / "timed", size=3)
    plan = folder / "study.toml"
    outcome = 'outcomes = [{name = "time", unit = "s", better = "lower"}]'
    lines = plan.read_text().splitlines()
    plan.write_text("\n".join(outcome if x.startswith("outcomes") else x for x in lines))
    ml.plan.write_sheets(ml.read_design(folder), folder / "sheets", seed=1)
    typed(folder, boxes("P01", [f"{9 + n / 10:.1f}".replace(".", ",") for n in range(20)]))
    study = ml.read_study(folder)
    assert study.trials.table["time"].max() == 10.9
    marks = study.problems[study.problems["rule"] == "other decimal mark"]
    assert len(marks) == 1
    assert marks["severity"].tolist() == ["note"]


def test_pages_are_printed_for_the_floor(folder):
    printed = folder / "sheets" / "print"
    cards = (printed / "drill_cards.html").read_text()
    assert cards.count('class="card"') == 3
    assert "without an object" in (printed / "sessions.html").read_text()
    skill = (printed / "skill_sheet.html").read_text()
    assert "it runs off to one side" in skill
    assert (printed / "test_days.html").read_text().count("<section>") == 4
    book = openpyxl.load_workbook(folder / "sheets" / "tests.xlsx")
    page = book["pretest"]
    top = heading_row(page)
    assert page.print_title_rows == f"${top}:${top}"
    assert page.cell(top + 1, 2).border.left.style == "thin"
    assert page.page_setup.orientation == "landscape"


def test_the_plan_of_a_programme_has_at_most_60_lines():
    text = ml.plan.programme_text(ml.plan.Answers(size=14, test_trials=20))
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    assert len(lines) <= 60
