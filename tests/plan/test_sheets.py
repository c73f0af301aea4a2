import io
import json

import numpy as np
import openpyxl
import pandas as pd
import pytest
from plans_of_tests import programme, ring_push

import motorlearn as ml
from motorlearn.design import design_from_mapping
from motorlearn.exceptions import FileError, InputError
from motorlearn.plan import Answers, plan_text, planned_trials, unblind, write_plan, write_sheets
from motorlearn.plan.sheets.workbooks import SheetForm, workbook_bytes
from motorlearn.trials import check_table

ITEMS = ("stance", "grip")


# A new plan as the command line writes it, small enough to be filled in.
ANSWERS = Answers(size=3, blocks=2, test_trials=12)


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return write_plan(tmp_path_factory.mktemp("plan") / "mine", ANSWERS).parent


@pytest.fixture(scope="module")
def small(study):
    return ml.read_design(study)


@pytest.fixture(scope="module")
def folder(small, study):
    return write_sheets(small, study / "sheets", seed=2, items=ITEMS)


def filled(rows, rng):
    x, y = np.round(rng.normal(0, 15, (2, len(rows))), 1)
    days = rows["session"].map({1: 0, 2: 1, 3: 8})
    start = pd.Timestamp("2026-03-02")
    return rows.assign(
        x=x,
        y=y,
        hit=(np.hypot(x, y) <= 20).astype(int),
        radial_error=np.round(np.hypot(x, y), 1),
        date=[(start + pd.Timedelta(days=int(day))).date().isoformat() for day in days],
    )


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_filled_sheets_are_read_without_a_mapping(folder, study, tmp_path, kind):
    rows = pd.read_csv(folder / "trials.csv")
    done = filled(rows, np.random.default_rng(1))
    if kind == "csv":
        done.to_csv(tmp_path / "trials.csv", index=False)
    else:
        book = openpyxl.load_workbook(folder / "trials.xlsx")
        sheet = book["trials"]
        place = {cell.value: cell.column for cell in sheet[1]}
        for line, row in enumerate(done.to_dict("records"), start=2):
            for name in ("hit", "x", "y", "radial_error", "date"):
                sheet.cell(line, place[name]).value = row[name]
        book.save(tmp_path / "trials.xlsx")
    people = (folder / "concealed" / "participants.csv").read_bytes()
    (tmp_path / "participants.csv").write_bytes(people)
    text = (study / "study.toml").read_text(encoding="utf-8")
    (tmp_path / "study.toml").write_text(text.replace("trials.csv", f"trials.{kind}"))
    back = ml.read_study(tmp_path)
    assert back.problems[back.problems["severity"] != "note"].empty, back.problems.to_string()
    table = back.trials.table
    assert len(table) == 6 * (2 * 36 + 4 * 12)
    assert table["group"].value_counts().to_dict() == {"blocked": 360, "random": 360}
    assert np.allclose(table["x"], done["x"])


def test_those_who_test_do_not_see_groups_and_raters_see_neither_person_nor_test(folder):
    for name in ("trials", "sessions", "ratings"):
        text = (folder / f"{name}.csv").read_text()
        assert "blocked" not in text
        assert "random" not in text
    ratings = pd.read_csv(folder / "ratings.csv")
    assert list(ratings.columns) == ["clip", "rater", "position", "item", "score"]
    assert "participant" in pd.read_csv(folder / "concealed" / "clips.csv").columns


def test_clip_numbers_tell_nothing_and_the_key_puts_people_back(folder):
    key = pd.read_csv(folder / "concealed" / "clips.csv")
    assert key["clip"].is_unique
    assert len(key) == 6 * 3 * 6
    order = key["participant"].to_numpy()
    assert 0.6 < np.mean(order[1:] != order[:-1]) <= 1
    ratings = pd.read_csv(folder / "ratings.csv").assign(score=1)
    joined = unblind(ratings, key)
    assert joined["participant"].notna().all()
    assert list(joined.columns[:3]) == ["participant", "phase", "clip"]
    with pytest.raises(InputError, match="not in the key"):
        unblind(ratings.assign(clip="C9999"), key)


def test_the_second_rater_rates_a_share_in_an_own_order(folder):
    ratings = pd.read_csv(folder / "ratings.csv").drop_duplicates(["clip", "rater"])
    by_rater = ratings.groupby("rater")["clip"].apply(list)
    assert len(by_rater["A"]) == 108
    assert len(by_rater["B"]) == int(np.ceil(0.2 * 108))
    assert by_rater["A"] != sorted(by_rater["A"])


def test_workbooks_guide_entry_and_print(folder):
    sheet = openpyxl.load_workbook(folder / "trials.xlsx")["trials"]
    assert sheet.freeze_panes == "B2"
    assert sheet.print_title_rows == "$1:$1"
    assert sheet.page_setup.orientation == "landscape"
    rules = {rule.promptTitle: rule for rule in sheet.data_validations.dataValidation}
    assert rules["phase"].formula1 == '"pretest,acquisition,posttest,retention,transfer"'
    assert rules["task"].formula1 == '"straight,bank,lob"'
    distance = rules["radial_error"]
    assert (distance.type, distance.operator, distance.formula1) == (
        "decimal",
        "greaterThanOrEqual",
        "0",
    )
    assert distance.error == "Type a number, 0 or more."
    place = {cell.value: cell.column_letter for cell in sheet[1]}
    assert str(rules["void"].sqref) == f"{place['void']}2:{place['void']}{sheet.max_row}"
    marked = {str(area.sqref).split(":")[0] for area in sheet.conditional_formatting}
    assert f"{place['x']}2" in marked
    assert f"{place['task']}2" not in marked
    pages = openpyxl.load_workbook(folder / "trial_sheets.xlsx")
    assert len(pages.sheetnames) == 6
    assert "participant" not in [cell.value for cell in pages["P01"][1]]
    for printed in (sheet, pages["P01"]):
        assert "x, y, radial_error in cm" in printed.oddHeader.left.text


def test_sessions_ask_for_pain_fatigue_and_the_reason_of_stopping(folder):
    sessions = pd.read_csv(folder / "sessions.csv")
    assert {"pain_before", "pain_after", "fatigue_before", "stopped_because"} <= set(sessions)
    assert sessions.groupby("participant")["session"].apply(list).iloc[0] == [1, 2, 3]


def test_codebook_explains_every_column(folder):
    book = pd.read_csv(folder / "codebook.csv")
    assert book["meaning"].notna().all()
    assert set(book["file"]) == {"trials", "sessions", "ratings"}
    trials = book[book["file"] == "trials"].set_index("column")
    assert trials.loc["x", "unit"] == "cm"
    assert trials.loc["radial_error", "values"] == "0 or more"
    score = book[(book["file"] == "ratings") & (book["column"] == "score")]
    assert score["values"].tolist() == ["0 / 1 / 2"]


def test_planned_orders_are_those_of_the_groups(small):
    people = pd.DataFrame({"participant": ["a", "b"], "group": ["blocked", "random"]})
    rows = planned_trials(small, people, seed=1)
    first = rows.query("participant == 'a' and phase == 'acquisition' and session == 1")["task"]
    assert (first.to_numpy()[1:] != first.to_numpy()[:-1]).sum() == 2
    assert rows["feedback"].sum() == 2 * (36 + 18)


def test_the_audit_log_is_kept_with_the_allocation(folder):
    log = json.loads((folder / "concealed" / "allocation.json").read_text())
    assert log["seed"] == 2
    assert len(log["result_sha256"]) == 64


def test_one_group_needs_no_allocation(tmp_path):
    two = pd.DataFrame({"participant": ["a", "b"]})
    folder = write_sheets(programme(), tmp_path / "sheets", seed=1, participants=two)
    people = pd.read_csv(folder / "concealed" / "participants.csv")
    assert set(people["group"]) == {"programme"}
    assert "hit" in pd.read_csv(folder / "trials.csv").columns


def test_strata_need_a_list(tmp_path):
    with pytest.raises(InputError, match="known from a list of participants only"):
        write_sheets(ring_push(), tmp_path / "sheets", seed=1)


def test_somebodys_folder_is_not_replaced(small, tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("mine")
    with pytest.raises(FileError, match="was not made by this command"):
        write_sheets(small, tmp_path / "mine", seed=1)
    assert (tmp_path / "mine" / "notes.txt").read_text() == "mine"


def test_cells_cannot_run_as_formulas(tmp_path):
    from motorlearn.plan.sheets.workbooks import SheetForm, workbook_bytes

    rows = pd.DataFrame({"note": ["=1+1", "@x", "plain"]})
    book = openpyxl.load_workbook(io.BytesIO(workbook_bytes([SheetForm("s", rows)])))
    assert [cell.value for cell in book["s"]["A"]][1:] == ["'=1+1", "'@x", "plain"]


@pytest.mark.parametrize(
    "answers",
    [
        Answers(),
        Answers(groups=("programme",), outcome="hits", unit="m", radius=0.5),
        Answers(groups=("blocked", "serial", "random"), tasks=("a",), test_trials=15),
        Answers(title='A "quoted" title\\ with ünïcode', outcome="time", unit="s"),
    ],
    ids=["default", "one group", "three groups", "odd title"],
)
def test_new_plans_are_sound_toml_with_remarks(answers, tmp_path):
    text = plan_text(answers)
    assert text.count("#") > 25
    path = write_plan(tmp_path / "study", answers)
    design = ml.read_design(path)
    assert design.study.title == answers.title
    assert design.group_names == answers.groups
    assert ml.audit_design(design).recipe.n > 15


def test_a_plan_is_never_overwritten(tmp_path):
    write_plan(tmp_path, Answers())
    with pytest.raises(FileError, match="a plan already"):
        write_plan(tmp_path, Answers())


def test_notebooks_come_along_and_look_for_the_new_study(tmp_path):
    cell = {
        "cell_type": "code",
        "metadata": {"tags": ["parameters"]},
        "source": ['study_folder = "../data/ring-push"\n', "seed = 1"],
        "outputs": [{"x": 1}],
        "execution_count": 3,
    }
    (tmp_path / "01_plan.ipynb").write_text(json.dumps({"cells": [cell]}))
    write_plan(tmp_path / "mine", Answers(), notebooks=[tmp_path / "01_plan.ipynb"])
    copied = json.loads((tmp_path / "mine" / "notebooks" / "01_plan.ipynb").read_text())
    assert copied["cells"][0]["source"] == 'study_folder = ".."\nseed = 1'
    assert copied["cells"][0]["outputs"] == []


def test_impossible_answers_are_refused():
    with pytest.raises(InputError, match="size"):
        plan_text(Answers(size=0))


def test_rows_of_a_workbook_are_those_of_the_table(tmp_path):
    rows = pd.DataFrame(
        {
            "participant": ["P & <1>", "=SUM(A1)", " spaced ", None],
            "trial": [1, 2, 3, 4],
            "limit": [0.5, np.nan, -2.25, 1e-7],
            "hit": ["", "", "", ""],
            "void": ["", "a\x07b", "é", pd.NA],
        }
    )
    both = [SheetForm("one", rows, ("hit",)), SheetForm("two", rows.iloc[::-1], ("hit",))]
    (tmp_path / "book.xlsx").write_bytes(workbook_bytes(both))
    book = openpyxl.load_workbook(tmp_path / "book.xlsx")
    one, two = ([list(line) for line in sheet.values] for sheet in book)
    assert one == [
        list(rows.columns),
        ["P & <1>", 1, 0.5, None, None],
        ["'=SUM(A1)", 2, None, None, "ab"],
        [" spaced ", 3, -2.25, None, "é"],
        [None, 4, 1e-07, None, None],
    ]
    assert two == [one[0], *one[:0:-1]]
    assert book["one"].dimensions == "A1:E5"
    quick = openpyxl.load_workbook(tmp_path / "book.xlsx", read_only=True)
    assert [len(list(sheet.rows)) for sheet in quick] == [5, 5]


CROSSOVER = {
    "study": {"title": "Ring push", "seed": 3},
    "groups": [
        {"name": "blocked", "schedule": "blocked", "size": 4},
        {"name": "random", "schedule": "random", "size": 4},
    ],
    "within": {"by": "period", "washout_days": 14},
    "allocation": {"seed": 5},
    "tasks": [{"name": "near"}, {"name": "far"}],
    "practice": [{"session": 1, "day": 0, "blocks": 2, "trials_per_block": 6}],
    "tests": [{"phase": "retention", "trials": 4, "interval_days": 7}],
    "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
    "primary": {"outcome": "radial_error", "phase": "retention", "groups": ["random", "blocked"]},
}


def test_sheets_of_conditions_within_people_go_by_period_and_are_read_back(tmp_path):
    design = design_from_mapping(CROSSOVER)
    out = write_sheets(design, tmp_path / "sheets", seed=1)
    rows = pd.read_csv(out / "trials.csv")
    people = pd.read_csv(out / "concealed" / "participants.csv")
    assert len(rows) == 4 * 2 * 16 and rows.columns[:3].tolist() == [
        "participant", "period", "group",
    ]  # fmt: skip
    met = rows.groupby(["participant", "period"])["group"].unique()
    assert all(len(names) == 1 for names in met)
    for person, order in people.set_index("participant")["group"].items():
        assert order == " then ".join(met[person, number][0] for number in (1, 2))
    turns = rows[rows["phase"] == "acquisition"].groupby("group")["task"]
    changes = turns.apply(lambda tasks: int((tasks != tasks.shift()).sum()))
    assert changes["random"] > changes["blocked"]
    sessions = pd.read_csv(out / "sessions.csv")
    assert len(sessions) == 4 * 2 * 2 and sessions["period"].isin([1, 2]).all()
    again = write_sheets(design, tmp_path / "sheets", seed=1)
    assert pd.read_csv(again / "trials.csv").equals(rows)
    filled = rows.assign(radial_error=np.arange(len(rows)) % 17 + 5.0)
    problems = check_table(filled, design=design)
    assert not (problems["severity"] == "error").any()


def test_sheets_by_task_are_refused_in_one_sentence(tmp_path):
    design = design_from_mapping(CROSSOVER | {"within": {"by": "task"}})
    with pytest.raises(InputError, match="by period only"):
        write_sheets(design, tmp_path / "sheets", seed=1)
    with pytest.raises(InputError, match="orders of conditions the plan lacks"):
        write_sheets(
            design_from_mapping(CROSSOVER), tmp_path / "x", seed=1,
            participants=pd.DataFrame({"participant": ["P1"], "group": ["blocked"]}),
        )  # fmt: skip
