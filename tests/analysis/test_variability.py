"""An outcome that is a variable error brings the model of level and spread of its trials."""

import json

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import stats

import motorlearn as ml
from motorlearn.analysis import SpreadBeside
from motorlearn.analysis.variability import AT_TEST, CHANGE, OVER_TIME
from motorlearn.exceptions import InputError
from motorlearn.results import Refused
from motorlearn.wording.variability import spread_beside_sentences
from tests.gallery.studies import plan, study

VE = {
    "name": "placement",
    "column": "stop",
    "target": 100,
    "measure": "variable_error",
    "unit": "cm",
    "better": "lower",
}


def stops(people=20, rows=20, *, groups=("blocked", "random"), wider=0.5, seed=3):
    """Where a ring stopped: the last group scatters more at retention, by the log ratio."""
    rng = np.random.default_rng(seed)
    person, late, trial = (place.ravel() for place in np.indices((people, 2, rows)).astype(int))
    group = np.array(groups)[person % len(groups)]
    log_sd = 1.5 + rng.normal(0, 0.2, people)[person] - 0.3 * late
    log_sd += wider * late * (group == groups[-1])
    level = 100 + rng.normal(0, 4, (people, 2))[person, late]
    return pd.DataFrame(
        {
            "participant": [f"P{n + 1:02d}" for n in person],
            "group": group,
            "phase": np.where(late, "retention", "pretest"),
            "session": late + 1,
            "trial": trial + 1,
            "stop": (level + np.exp(log_sd) * rng.normal(size=len(person))).round(2),
        }
    )


def of(table, **more):
    return study(plan(VE, practice=None, **more), table)


@pytest.fixture(scope="module")
def found():
    return ml.analyse_study(of(stops()))


def test_the_plan_s_variable_error_is_modelled_by_group_and_test(found):
    (spread,) = found.spreads.values()
    assert isinstance(spread, SpreadBeside) and spread.outcome == "placement"
    rows = spread.ratios.set_index("kind")
    assert (rows.loc[AT_TEST, "group"], rows.loc[AT_TEST, "reference"]) == ("random", "blocked")
    assert rows.loc[AT_TEST, "conf_low"] < np.exp(0.5) < rows.loc[AT_TEST, "conf_high"]
    assert rows.loc[AT_TEST, "p"] < 0.01 and rows.loc[CHANGE, "p"] < 0.05
    # Beside it: the mean logarithm of everybody's standard deviation, by Student's t.
    table = stops()
    late = table[table["phase"] == "retention"]
    logs = late.groupby(["group", "participant"])["stop"].std().pipe(np.log)
    plain = logs["random"].mean() - logs["blocked"].mean()
    assert_allclose(np.log(rows.loc[AT_TEST, "estimate"]), plain, atol=0.06)
    t = stats.ttest_ind(logs["random"], logs["blocked"]).statistic
    assert 0.5 * t < rows.loc[AT_TEST, "statistic"] < 1.5 * t
    kept = json.loads(spread.to_json())
    assert kept["ratios"] and kept["outcome"] == "placement"


def test_the_audit_has_rows_with_the_remedy_beside(found):
    (spread,) = found.spreads.values()
    rows = spread.audit.table.set_index("assumption")
    assert len(rows) == 9 and not rows["grade"].eq("act").any()
    assert "log SD of each person as a score" in rows["remedied"].str.cat() or (
        "log SD of each person as a score" in rows["remedy"].str.cat()
    )
    assert rows.loc["each person has enough trials for a spread of their own", "value"] == 20


FAULTS = {
    "scatter roughly normally": lambda t: t.assign(stop=100 + (t["stop"] - 100) ** 3 / 300),
    "resemble their neighbours": lambda t: t.assign(stop=t["stop"] + t["trial"]),
    "enough trials": lambda t: t[t["trial"] < 5],
    "single participant": lambda t: t.assign(
        stop=t["stop"] + 400 * (t["participant"] == "P02") * (t["trial"] % 2)
    ),
    "just follow level": lambda t: t.assign(stop=np.exp((t["stop"] - 100) / 8)),
}


def audited(table):
    """Rows of the audit at the retention test."""
    fit = ml.fit_variability("stop ~ group", table, spread="group")
    return ml.check_assumptions(fit).table.set_index("assumption")


def test_each_fault_is_flagged_and_clean_data_are_not():
    late = stops().query("phase == 'retention'")
    clean = audited(late)
    for words, spoil in FAULTS.items():
        rows = audited(spoil(late))
        (name,) = [name for name in clean.index if words in name]
        assert clean.loc[name, "grade"] == "fine", clean.loc[name, "finding"]
        assert rows.loc[name, "grade"] != "fine", (words, rows.loc[name, "value"])


def test_report_tells_draws_and_lists_it(found, tmp_path, no_pictures):
    ml.write_report(found, tmp_path / "out", quiet=True)
    assert "modelled-spreads-placement" in {name for name, _ in no_pictures}
    text = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    (spread,) = found.spreads.values()
    told = spread_beside_sentences(spread, {"retention": "delayed retention"})
    assert all(sentence.split(", 95")[0] in text for sentence in told)
    assert "ratios of standard deviations; it is secondary" in text
    assert "placement: model of spread" in (tmp_path / "out" / "results.json").read_text()
    assert told[0].startswith("A typical performer of random scattered ")


def test_the_sheet_to_sign_says_what_the_report_says(found):
    (spread,) = found.spreads.values()
    told = spread_beside_sentences(spread, {"retention": "delayed retention"})[0]
    assert "95 % CI" in told
    sheet = ml.report.supervisor_page(found.study)
    (said,) = dict(sheet.entries)["spread of trials"]
    assert told[1:] in said
    few = ml.report.supervisor_page(of(stops(rows=2)))
    assert "too few" in dict(few.entries)["spread of trials"][0]


def test_one_group_and_three():
    one = ml.analyse_study(
        of(
            stops(10, groups=("programme",)),
            groups=[{"name": "programme", "schedule": "increasing"}],
            primary={"outcome": "placement", "phase": "retention", "groups": []},
        )
    ).spreads["placement"]
    (row,) = one.ratios.to_dict("records")
    assert row["kind"] == OVER_TIME and (row["group"], row["reference"]) == ("retention", "pretest")
    assert spread_beside_sentences(one, {})[0].startswith("A typical performer scattered")
    names = ("blocked", "serial", "random")
    three = ml.analyse_study(
        of(
            stops(18, groups=names),
            groups=[{"name": name, "schedule": name} for name in names],
            primary={"outcome": "placement", "phase": "retention", "groups": []},
        )
    ).spreads["placement"]
    assert list(three.ratios["kind"]) == [AT_TEST] * 2 + [CHANGE] * 2
    assert (three.ratios["p_adjusted"] >= three.ratios["p"] - 1e-12).all()


@pytest.mark.parametrize(
    ("table", "reason"),
    [
        (stops(rows=2), "has 2 trials at a test"),
        (stops().assign(stop=101.0), "nothing to model"),
        (stops(people=2), "no variance between them"),
    ],
)
def test_what_cannot_be_modelled_is_refused_in_words(table, reason):
    found = ml.analyse_study(of(table))
    assert isinstance(found.spreads["placement"], Refused)
    assert pd.Series([found.spreads["placement"].reason]).str.contains(reason).all()


def test_one_trial_at_each_test_is_refused_in_words():
    with pytest.raises(InputError, match="nobody has two trials at a test"):
        ml.analyse_study(of(stops(8, rows=1)))


def test_other_outcomes_have_none_and_classes_are_refused():
    plain = {"name": "stop", "unit": "cm", "better": "lower"}
    assert not ml.analyse_study(study(plan(plain, practice=None), stops())).spreads
    classes = of(
        stops().assign(
            **{"class": lambda t: "c" + (t["participant"].str[1:].astype(int) % 8).astype(str)}
        ),
        allocation={"unit": "class", "method": "cluster"},
    )
    assert isinstance(ml.analyse_study(classes).spreads["placement"], Refused)
