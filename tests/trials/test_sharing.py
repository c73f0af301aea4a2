"""A package to give away: what is in it, what is not, and that it is valid and reads back."""

import csv
import hashlib
import json
import re

import pandas as pd
import pytest
import studies
from frictionless import Package

import motorlearn as ml
from motorlearn.exceptions import FileError, InputError
from motorlearn.trials import replace_identifiers, share_study, study_identifiers

TRIALS = "data/description-trials_data.csv"


def told(folder):
    """Everything that stands in a package."""
    return "".join(path.read_text() for path in folder.rglob("*") if path.is_file())


@pytest.fixture
def study(study_folder):
    study_folder.participants["age"] = [21, 22, 23, 24]
    study_folder.participants["name"] = ["Ada Lovelace", "Alan Turing", "Grace Hopper", "K Booth"]
    study_folder.trials["notes"] = "felt =fine"
    study_folder.write()
    (study_folder.path / "clip.mp4").write_bytes(b"video")
    return study_folder


def test_the_package_is_valid_complete_and_summed(study, tmp_path_factory):
    out = tmp_path_factory.mktemp("shared") / "pack"
    shared = share_study(study.path, out)
    expected = ".motorlearn.json CITATION.cff LICENSE.txt README.md SHA256SUMS codebook.csv"
    expected += " data datapackage.json dataset_description.json environment.txt study.toml"
    assert sorted(entry.name for entry in out.iterdir()) == expected.split()
    tables = ["description-participants_data.csv", "description-trials_data.csv"]
    assert sorted(entry.name for entry in (out / "data").iterdir()) == tables
    assert Package(str(out / "datapackage.json")).validate().valid
    for line in (out / "SHA256SUMS").read_text().splitlines():
        digest, name = line.split("  ")
        assert hashlib.sha256((out / name).read_bytes()).hexdigest() == digest
    assert "1 further file of" in " ".join(shared.left_out)


def test_the_package_reads_back_as_the_study(study, tmp_path_factory):
    out = tmp_path_factory.mktemp("shared") / "pack"
    share_study(study.path, out)
    before, after = ml.read_study(study.path), ml.read_study(out)
    assert after.problems.empty
    same = ["participant", "group", "phase", "block", "trial", "task", "hit", "x", "y"]
    pd.testing.assert_frame_equal(before.trials.table[same], after.trials.table[same])
    assert after.trials.table["day"].max() == 7


def test_free_text_names_and_dates_stay_out_and_that_is_said(study, tmp_path_factory):
    out = tmp_path_factory.mktemp("shared") / "pack"
    shared = share_study(study.path, out)
    everything = told(out)
    for secret in ("Lovelace", "felt", "2026-03-02", "clip.mp4", str(study.path)):
        assert secret not in everything
    assert "trials.notes: free text can name people" in shared.left_out
    assert "column name of participants.csv: it looks personal" in shared.left_out
    readme = (out / "README.md").read_text()
    assert all(entry in readme for entry in (*shared.left_out, *shared.warnings))
    share_study(study.path, out, include=["notes"])
    assert "felt =fine" in (out / TRIALS).read_text()


def test_small_cells_and_a_missing_licence_are_warned_of(study, tmp_path_factory):
    place = tmp_path_factory.mktemp("shared") / "pack"
    shared = share_study(study.path, place, include=["age"])
    said = " ".join(shared.warnings)
    assert "4 values of 'age' are shared by fewer than 5 people" in said
    assert "4 people stand in cells of fewer than 5 when group, age" in said
    assert "no licence" in said
    assert "no ethics approval" in said


def test_what_few_people_share_is_not_published_unless_asked_for(study, tmp_path_factory):
    out = tmp_path_factory.mktemp("shared") / "pack"
    study.participants["hand"] = "right"
    study.trials["hand"] = "right"
    study.write()
    left = share_study(study.path, out).left_out
    people = pd.read_csv(out / "data" / "description-participants_data.csv")
    assert list(people) == ["participant", "group"]
    assert "hand" not in pd.read_csv(out / TRIALS)
    assert [entry[:41] for entry in left if "fewer than" in entry] == [
        "trials.hand: fewer than 5 people share a ",
        "participants.age: fewer than 5 people sha",
        "participants.hand: fewer than 5 people sh",
    ]
    share_study(study.path, out, include=["hand"])
    assert "hand" in pd.read_csv(out / "data" / "description-participants_data.csv")


def psych_ds_faults(folder):
    """What breaks the rules (Psych-DS, rules and conventions, psychds-docs.readthedocs.io)."""
    found = json.loads((folder / "dataset_description.json").read_text("utf-8"))
    faults = [key for key in ("name", "description", "variableMeasured") if not found.get(key)]
    if not found["@context"].startswith("https://schema.org") or found["@type"] != "Dataset":
        faults.append("vocabulary")
    variables = found["variableMeasured"]
    faults += [v for v in variables if v["@type"] != "PropertyValue" or not v["name"]]
    known = {"@type", "name", "description", "unitText", "minValue", "maxValue"}
    faults += [v for v in variables if set(v) - known]
    files = [path for path in (folder / "data").rglob("*") if path.is_file()]
    named = r"([a-z]+-[a-zA-Z0-9]+)(_[a-z]+-[a-zA-Z0-9]+)*_data\.csv"
    faults += [path.name for path in files if not re.fullmatch(named, path.name)]
    official = [
        "study",
        "site",
        "subject",
        "session",
        "task",
        "condition",
        "trial",
        "stimulus",
        "description",
    ]
    faults += [path.name for path in files if path.name.split("-")[0] not in official]
    for path in files:
        heading, *rows = csv.reader(path.read_text("utf-8").splitlines())
        faults += [path.name for row in rows if len(row) != len(heading)]
        faults += [name for name in heading if name not in [v["name"] for v in variables]]
        faults += [path.name] * (len(set(heading)) < len(heading))
    return faults if files else ["no data"]


def test_the_package_keeps_the_rules_of_psych_ds(study, tmp_path_factory):
    out = tmp_path_factory.mktemp("shared") / "pack"
    share_study(study.path, out)
    assert psych_ds_faults(out) == []
    (out / "data" / "Trials.csv").write_text("participant,mood\np1,3,4\n")
    assert psych_ds_faults(out) == ["Trials.csv", "Trials.csv", "Trials.csv", "mood"]


def test_new_identifiers_with_the_key_elsewhere(study, tmp_path_factory):
    place = tmp_path_factory.mktemp("shared")
    share_study(study.path, place / "pack", key_file=place / "key.csv", seed=3)
    key = pd.read_csv(place / "key.csv").set_index("study_identifier")["participant"]
    assert (place / "key.csv").stat().st_mode & 0o777 == 0o600
    assert sorted(key) == ["p01", "p02", "p03", "p04"]
    packed = pd.read_csv(place / "pack" / TRIALS)
    recorded = study.trials["participant"].value_counts()
    assert packed["participant"].map(key).value_counts().to_dict() == recorded.to_dict()
    everything = told(place / "pack")
    assert "p01" not in everything
    assert not [path for path in (place / "pack").rglob("*") if "key" in path.name]


def test_new_identifiers_leave_no_seed_to_draw_groups_and_orders_again(study, tmp_path_factory):
    plan = study.path / "study.toml"
    text = plan.read_text()
    assert "[allocation]" not in text
    with_seed = text.replace("[study]", "[study]\nseed = 20261", 1)
    plan.write_text(with_seed + '\n[allocation]\nmethod = "blocks"\nseed = 20262\n')
    place = tmp_path_factory.mktemp("shared")
    shared = share_study(study.path, place / "new", key_file=place / "key.csv", seed=3)
    assert "2026" not in (place / "new" / "study.toml").read_text()
    design = ml.read_study(place / "new").design
    assert design.study.seed is None and design.allocation.seed is None
    assert design.allocation.method == "blocks"
    assert any("seeds of study.toml" in entry for entry in shared.left_out)
    kept = share_study(study.path, place / "same", include=["participant"])
    assert ml.read_study(place / "same").design.allocation.seed == 20262
    assert not any("seed" in entry for entry in kept.left_out)


@pytest.mark.parametrize("inside", ["study", "pack"])
def test_the_key_is_not_written_beside_the_data(study, tmp_path_factory, inside):
    out = tmp_path_factory.mktemp("shared") / "pack"
    key = {"study": study.path, "pack": out}[inside] / "key.csv"
    with pytest.raises(FileError, match="beside the data"):
        share_study(study.path, out, key_file=key)
    assert not out.exists() and not key.exists()


def test_the_study_is_not_overwritten_by_its_package(study):
    with pytest.raises(FileError, match="would replace the study"):
        share_study(study.path, study.path)
    with pytest.raises(FileError, match="would replace the study"):
        share_study(study.path, study.path.parent)


def test_replacing_identifiers_keeps_everything_else(study, tmp_path_factory):
    key_file = tmp_path_factory.mktemp("keys") / "key.csv"
    before = ml.read_study(study.path)
    after = replace_identifiers(before, key_file=key_file, seed=5)
    old, new = before.trials.table, after.trials.table
    pd.testing.assert_frame_equal(old.drop(columns="participant"), new.drop(columns="participant"))
    pairs = pd.DataFrame({"old": old["participant"], "new": new["participant"]}).drop_duplicates()
    assert len(pairs) == 4 == pairs["new"].nunique()
    assert set(after.participants["participant"]) == set(pairs["new"])
    with pytest.raises(FileError, match="exists already"):
        replace_identifiers(before, key_file=key_file)


def test_identifiers_are_distinct_readable_and_limited():
    names = study_identifiers(2000, seed=1)
    assert len(set(names)) == 2000
    assert not set("".join(names)) & set("0O1IS5Z")
    assert study_identifiers(5) != study_identifiers(5)
    with pytest.raises(InputError):
        study_identifiers(10**9)


def test_units_and_meanings_stand_in_codebook_and_schema(study, tmp_path_factory):
    out = tmp_path_factory.mktemp("shared") / "pack"
    share_study(study.path, out)
    codebook = pd.read_csv(out / "codebook.csv").set_index(["table", "column"])
    assert codebook.loc[("trials", "x"), "unit"] == "cm"
    assert codebook.loc[("trials", "task"), "levels"] == "bank, straight"
    fields = json.loads((out / "datapackage.json").read_text())["resources"][0]["schema"]["fields"]
    assert {f["name"]: f.get("unit") for f in fields}["radial_error"] == "cm"


def test_only_columns_that_are_known_are_packed(study, tmp_path_factory):
    study.trials["mood"] = 3
    study.write()
    out = tmp_path_factory.mktemp("shared") / "pack"
    shared = share_study(study.path, out)
    assert "mood" not in pd.read_csv(out / TRIALS)
    assert any("trials.mood: neither a standard column" in entry for entry in shared.left_out)
    share_study(study.path, out, include=["mood"])
    assert "mood" in pd.read_csv(out / TRIALS)


def test_identifiers_that_look_like_names_are_not_published(study, tmp_path_factory):
    place = tmp_path_factory.mktemp("shared")
    names = {"p01": "anna.meier", "p02": "jan.smit", "p03": "eva.luna", "p04": "tom.lee"}
    for table in (study.trials, study.participants):
        table["participant"] = table["participant"].map(names)
    study.write()
    with pytest.raises(InputError, match="look like names"):
        share_study(study.path, place / "pack")
    assert not (place / "pack").exists()
    share_study(study.path, place / "pack", key_file=place / "key.csv", seed=3)
    everything = told(place / "pack")
    assert "meier" not in everything


def test_two_packages_are_the_same_byte_for_byte(study, tmp_path_factory):
    place = tmp_path_factory.mktemp("shared")
    for name in ("one", "two"):
        share_study(study.path, place / name)
    first, second = (
        {p.name: p.read_bytes() for p in (place / name).rglob("*.*")} for name in ("one", "two")
    )
    assert first == second


def test_clips_stay_and_their_names_do_not(study, tmp_path_factory):
    out = tmp_path_factory.mktemp("shared") / "pack"
    rows = [(f"p0{i}", "pretest", clip, 1, "stance", rater, i % 3)
            for i in range(1, 5)
            for clip, rater in (("anna.meier", "Jan Smit"), ("eva.luna", "Tom Lee"))]  # fmt: skip
    names = ["participant", "phase", "clip", "position", "item", "rater", "score"]
    pd.DataFrame(rows, columns=names).to_csv(study.path / "ratings.csv", index=False)
    plan = (study.path / "study.toml").read_text()
    assert "ratings" not in plan and "[files]" in plan
    plan = plan.replace("[files]", '[files]\nratings = "ratings.csv"')
    (study.path / "study.toml").write_text(plan)
    share_study(study.path, out)
    ratings = pd.read_csv(out / "data" / "description-ratings_data.csv")
    assert sorted(set(ratings["clip"])) == ["clip 1", "clip 2"]
    assert sorted(set(ratings["rater"])) == ["rater 1", "rater 2"]
    assert "position" in ratings and "meier" not in told(out) and "Smit" not in told(out)


RULES = """
[[exclusions]]
rule = "{who} at tests"
participants = ["{who}"]
phases = ["tests"]
reason = "{who} was told the target"

[[replacements]]
column = "x"
equals = 6
value = 7
reason = "the scale sticks at 6, as {who} found"

[[questionnaires]]
name = "mood"
file = "mood.csv"
participant = "id"
time = "time"
times = ["before", "after"]
item = ""
headings = "{{item}} {{time}}"
answers = [1, 7]
scales = {{ joy = ["fun", "dull"] }}
reversed = ["dull"]
"""
ANSWERS = pd.DataFrame(
    {
        "id": ["p01", "p02", "p03", "p04"],
        "fun before": [1, 2, 3, 4],
        "dull before": [7, 6, 5, 4],
        "fun after": [2, 3, 4, 5],
        "dull after": [6, 6, 5, 1],
        "remark": ["met Ada Lovelace", "", "p02 was late", "fine"],
        "mail": ["a@example.org"] * 4,
        "birthday": ["2001-02-03"] * 4,
    }
)


def with_rules(study, people=("p01", "p02", "p03", "p04")):
    """The small study with a rule that names somebody, a replacement, and a questionnaire."""
    names = dict(zip(("p01", "p02", "p03", "p04"), people))
    for table in (study.trials, study.participants):
        table["participant"] = table["participant"].map(names)
    study.trials["pair"] = study.trials["participant"].map(
        dict(zip(people, (people[0], people[0], people[2], people[2])))
    )
    study.trials.loc[0, "void"] = f"{people[1]} stood in the way"
    study.plan += RULES.format(who=people[2])
    study.write()
    ANSWERS.assign(id=ANSWERS["id"].map(names)).to_csv(study.path / "mood.csv", index=False)
    return study


@pytest.mark.parametrize("people", [("p01", "p02", "p03", "p04"), ("7101", "7102", "7103", "7104")])
def test_no_old_identifier_is_left_anywhere_beside_the_key(study, tmp_path_factory, people):
    place = tmp_path_factory.mktemp("shared")
    with_rules(study, people)
    if people[0].isdigit():  # a number may stand for anything in free text
        study.trials.loc[0, "void"] = "somebody stood in the way"
        study.plan = study.plan.replace(f"as {people[2]} found", "as was found")
        study.write()
    share_study(study.path, place / "pack", key_file=place / "key.csv", seed=3)
    for old in people:
        assert not re.search(rf"(?<![0-9a-z]){old}(?![0-9a-z])", told(place / "pack")), old
    trials = pd.read_csv(place / "pack" / TRIALS)
    assert trials["participant"].is_monotonic_increasing


@pytest.mark.parametrize("key", [False, True])
def test_a_package_of_rules_and_answers_reads_back_as_the_study(study, tmp_path_factory, key):
    place = tmp_path_factory.mktemp("shared")
    with_rules(study)
    more = {"key_file": place / "key.csv", "seed": 3} if key else {}
    share_study(study.path, place / "pack", **more)
    before, after = ml.read_study(study.path), ml.read_study(place / "pack")
    told = before.problems[before.problems["rule"] != "personal column set aside"]
    assert sorted(told["rule"]) == sorted(after.problems["rule"])
    assert len(before.trials.replaced) == len(after.trials.replaced) > 0
    assert before.trials.excluded["rows"].tolist() == after.trials.excluded["rows"].tolist()
    names = pd.Series({name: name for name in ("p01", "p02", "p03", "p04")})
    if key:
        names = pd.read_csv(place / "key.csv", index_col="participant")["study_identifier"]
    by = ["participant", "phase", "block", "trial"]
    one = before.trials.table.assign(participant=before.trials.table["participant"].map(names))
    two = after.trials.table
    same = [*by, "x", "y", "radial_error"]
    pd.testing.assert_frame_equal(
        one.sort_values(by)[same].reset_index(drop=True),
        two.sort_values(by)[same].reset_index(drop=True),
    )
    asked = [before.questionnaires["mood"], after.questionnaires["mood"]]
    asked[0] = asked[0].assign(participant=asked[0]["participant"].map(names))
    keys = ["participant", "time"]
    first, second = (t[[*keys, "fun", "dull"]].sort_values(keys) for t in asked)
    pd.testing.assert_frame_equal(
        first.reset_index(drop=True), second.reset_index(drop=True), check_dtype=False
    )


def test_of_questionnaires_only_answers_to_scales_are_packed(study, tmp_path_factory):
    out = tmp_path_factory.mktemp("shared") / "pack"
    with_rules(study)
    shared = share_study(study.path, out)
    table = pd.read_csv(out / "data" / "description-questionnaire1_data.csv")
    assert list(table) == ["participant", "time", "fun", "dull"]
    everything = told(out)
    assert not any(word in everything for word in ("Lovelace", "example.org", "2001-02-03", "late"))
    assert any("no scale needs (remark, mail, birthday)" in entry for entry in shared.left_out)
    assert Package(str(out / "datapackage.json")).validate().valid


def test_open_answers_in_a_long_table_stay_out(study, tmp_path_factory):
    out = tmp_path_factory.mktemp("shared") / "pack"
    rows = [("p01", "fun", "3"), ("p02", "fun", "often"), ("p03", "why", "Ada told me")]
    names = ["participant", "item", "response"]
    pd.DataFrame(rows, columns=names).to_csv(study.path / "mood.csv", index=False)
    study.plan += (
        '[[questionnaires]]\nname = "mood"\nfile = "mood.csv"\nanswers = [1, 7]\n'
        'scales = { joy = ["fun"] }\n'
    )
    study.write()
    shared = share_study(study.path, out)
    table = pd.read_csv(out / "data" / "description-questionnaire1_data.csv")
    assert table["participant"].tolist() == ["p01", "p02"]
    assert table["response"].tolist()[0] == 3 and table["response"].isna().tolist()[1]
    assert "Ada" not in told(out) and "often" not in told(out)
    left = " ".join(shared.left_out)
    assert "1 row for items of no scale" in left and "no numbers (response)" in left


def test_clips_that_hold_an_old_identifier_are_numbered(study, tmp_path_factory):
    place = tmp_path_factory.mktemp("shared")
    rows = [(f"p0{i}", "pretest", f"p0{i}_pretest", "stance", "rater A", 1) for i in range(1, 5)]
    names = ["participant", "phase", "clip", "item", "rater", "score"]
    pd.DataFrame(rows, columns=names).to_csv(study.path / "ratings.csv", index=False)
    study.plan = study.plan.replace("[files]", '[files]\nratings = "ratings.csv"')
    study.write()
    share_study(study.path, place / "pack", key_file=place / "key.csv", seed=3)
    ratings = pd.read_csv(place / "pack" / "data" / "description-ratings_data.csv")
    assert ratings["clip"].tolist() == ["clip 1", "clip 2", "clip 3", "clip 4"]
    assert ratings["participant"].is_monotonic_increasing


PLANNED = {
    "crossover": ("period", studies.crossover),
    "rule": ("clock", None),
}


@pytest.mark.parametrize("name", PLANNED)
def test_columns_that_the_plan_goes_by_are_packed(tmp_path, name):
    column, made = PLANNED[name]
    if made is None:
        content = studies.plan(
            studies.ERROR,
            exclusions=[{"rule": "late", "column": "clock", "above": 5, "reason": "late"}],
        )
        table = studies.trials(8, studies.PARTS, seed=3)
        study = studies.study(content, table.assign(clock=table["trial"] % 7))
    else:
        study = made()
    folder = studies.write(study, tmp_path / "study")
    share_study(folder, tmp_path / "pack")
    before, after = ml.read_study(folder), ml.read_study(tmp_path / "pack")
    assert column in after.trials.table
    assert sorted(before.problems["rule"]) == sorted(after.problems["rule"])
    one, two = (ml.analyse_study(study).primary["estimate"].to_numpy() for study in (before, after))
    assert one == pytest.approx(two)
