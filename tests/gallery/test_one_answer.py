"""One study has one answer: analysis, results.json, report and supervisor's page agree."""

import json
import re
from dataclasses import replace
from functools import cache
from typing import ClassVar

import numpy as np
import pandas as pd
import pytest
import studies
from matplotlib.layout_engine import ConstrainedLayoutEngine

import motorlearn as ml
from motorlearn.audit import Audit, Sensitivity
from motorlearn.exceptions import InputError
from motorlearn.report import audit_study, supervisor_page
from motorlearn.report.figure_cache import Kept, fingerprint
from motorlearn.report.sections.results import compose
from motorlearn.report.view import view_of
from motorlearn.report.writers.contents import Text
from motorlearn.report.writers.numbers import to_results
from motorlearn.results import Refused, decode


@pytest.fixture(scope="module", autouse=True)
def no_layout():
    """Place nothing in figures: their words are read here, where things stand in tests/figures."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ConstrainedLayoutEngine, "execute", lambda self, figure: None)
        yield


NUMBERS = ["estimate", "conf_low", "conf_high", "df", "statistic", "p", "g"]


@pytest.fixture(scope="module", params=[*studies.COMPUTED, *studies.REFUSED])
def analysed(request):
    return request.param, answered(request.param)


@cache
def answered(name):
    """A study of the gallery, analysed once for all tests of this file."""
    return ml.analyse_study((studies.COMPUTED | studies.REFUSED)[name]())


@pytest.fixture(scope="module")
def told(analysed):
    return shown(analysed[1])


class Remembered(Kept):
    """Draws every figure once, however often documents ask for it."""

    drawn: ClassVar = {}

    def draw(self, function, *values, ending="", **options):
        key = fingerprint(function, values, options, ending)
        if key not in self.drawn:
            self.drawn[key] = super().draw(function, *values, ending=ending, **options)
        return self.drawn[key]


def view(analysis):
    return replace(view_of(analysis, decimal="."), kept=Remembered())


def shown(analysis):
    """Document, results.json and supervisor's page of an analysis."""
    Remembered.drawn.clear()
    found = view(analysis)
    document = compose(found, versions={"motorlearn": "test"})
    stored = json.loads(to_results(found, document, {}))
    return document, stored, audit_study(analysis)


def test_everybody_shows_the_same_primary_row(analysed, told):
    name, analysis = analysed
    document, stored, page = told
    row = analysis.primary
    assert len(row) == 1 and list(row) == [
        "outcome", "phase", "test", "group", "reference", "effect", "null", *NUMBERS[:6], "g",
        "n_group", "n_reference",
    ]  # fmt: skip
    pd.testing.assert_frame_equal(page.primary, row)
    pd.testing.assert_frame_equal(decode(stored["analysis"]["primary"]), row, check_dtype=False)
    assert bool(analysis.refused) == (name in studies.REFUSED)
    text = " ".join(document.texts)
    if analysis.refused:
        assert row[NUMBERS].isna().all(axis=None)
        assert analysis.refused in str(page.facts["finding"].tolist())
        return
    value, low, high = row[["estimate", "conf_low", "conf_high"]].iloc[0]
    voice = view_of(analysis, decimal=".").outcomes[0].voice
    places = 2 if row["effect"].item() == "ratio" else voice.decimals
    said = [f"{abs(part):.{places}f}" for part in (value, low, high)]
    assert all(part in text for part in said), (said, text[:2000])
    listed = page.tests[np.isclose(page.tests["estimate"].astype(float), value)]
    assert row["p"].item() in listed["p"].tolist()


def test_the_primary_row_is_that_of_the_comparison_and_of_a_direct_call(analysed):
    _, analysis = analysed
    first = analysis.first
    if analysis.refused or isinstance(first.comparison, Refused):
        return
    row = analysis.primary.iloc[0]
    question = analysis.question
    if len(question.groups) < 2:
        again = first.comparison.paired
        again = again[(again["from_phase"] == row["reference"])]
        again = again[again["to_phase"] == question.primary_stage.name].iloc[0]
    else:
        again = first.comparison.contrasts
        if analysis.design.primary is not None and analysis.design.primary.factors:
            again = first.comparison.effects
            again = again[again["kind"] == "main effect"]
        again = again[again["phase"] == question.primary_stage.name]
        again = again[again["group"] == row["group"]]
        again = again[again["reference"] == row["reference"]]
        again = again[again["adjusted"] == analysis.adjusted].iloc[0]
    np.testing.assert_allclose(row[NUMBERS].astype(float), again[NUMBERS].astype(float))


def test_an_analysis_is_short_in_a_notebook_and_whole_as_json(analysed):
    _, analysis = analysed
    assert len(repr(analysis)) < 700
    assert "<table" in analysis._repr_html_()
    stored = json.loads(analysis.to_json())
    pd.testing.assert_frame_equal(decode(stored["primary"]), analysis.primary, check_dtype=False)


def test_the_verdict_is_the_same_on_the_page_and_in_the_report(analysed, told):
    _, analysis = analysed
    document, _, page = told
    text = " ".join(document.texts)
    facts = page.facts.set_index("topic")["finding"]
    for topic, result in (("assumptions", analysis.audit), ("sensitivity", analysis.sensitivity)):
        if result is None or isinstance(result, Refused):
            assert topic not in facts.index
        else:
            assert facts[topic] == result.verdict and result.verdict in text


def test_terms_of_formulas_are_told_in_words(told):
    document, _, page = told
    cells = [
        str(cell)
        for table in (*document.tables, *page.tables())
        for column in table.columns
        if column.name in table.rows
        for cell in table.rows[column.name]
    ]
    notes = [note for table in document.tables for note in table.notes]
    named = re.compile(r"\[T\.|\bC\(\w+\)|\b(group|participant|log)[:_](phase|test|block|rate)")
    assert not [text for text in (*document.texts, *cells, *notes) if named.search(text)]


def test_of_three_groups_the_audit_speaks_of_the_pair_that_was_planned(analysed):
    name, analysis = analysed
    if name == "three groups":
        said = " ".join(analysis.audit.table["remedied"].astype(str))
        assert "random − blocked" in said and "serial" not in said


def test_a_single_case_has_its_overlap_in_two_decimals(analysed, told):
    _, analysis = analysed
    if analysis.design.single_case is not None:
        text = " ".join(told[0].texts)
        assert re.search(r"\(NAP \d\.\d\d, 95 % CI \d\.\d\d to \d\.\d\d\)", text)


def test_values_are_put_back_where_the_plan_replaced_some_and_nowhere_else(analysed):
    _, analysis = analysed
    if isinstance(analysis.sensitivity, Sensitivity):
        tried = analysis.sensitivity.table["variant"]
        undone = tried.eq("without the plan's replacements").any()
        assert undone == (not analysis.study.trials.replaced.empty)


def test_the_bound_reaches_the_page_on_the_scale_of_the_answer():
    analysis = answered("hits of trials")
    assert analysis.outcomes["scale"].item() == "hits of 20"
    bounds = analysis.equivalence[["bound_low", "bound_high"]].iloc[0].tolist()
    assert bounds == [-2, 2]
    page = audit_study(analysis)
    assert page.tests["contrast"].str.contains(" within −2.00 to 2.00", regex=False).any()


def test_hits_of_twenty_are_told_as_such_and_equal_twenty_times_the_rate():
    hits = answered("hits of attempts")
    table = hits.study.trials.table
    rates = ml.compare_phases(
        table, "hits", group="group", baseline="pretest", attempts="attempts", reference="blocked"
    )
    row = rates.contrasts.query("phase == 'retention' and adjusted").iloc[0]
    assert hits.primary["estimate"].item() == pytest.approx(20 * row["estimate"])
    assert hits.primary["p"].item() == pytest.approx(row["p"])
    document, *_ = shown(hits)
    assert "hits of 20" in " ".join(document.texts)


def test_rows_of_0_and_1_and_hits_of_attempts_have_one_answer():
    table = studies.trials(24, studies.PARTS, seed=5)
    single = ml.analyse_study(studies.study(studies.plan(studies.HITS), table, "hit"))
    summed = ml.analyse_study(studies.study(studies.plan(studies.HITS), studies.counted(table)))
    pd.testing.assert_frame_equal(single.primary, summed.primary)
    assert single.outcomes["scale"].tolist() == ["hits of 20"]


def test_the_mean_of_a_column_and_its_measure_have_one_answer():
    measure = answered("mean radial error")
    column = ml.analyse_study(ml.read_study(studies.SHIPPED), outcome="radial_error")
    same = [*NUMBERS, "n_group", "n_reference"]
    pd.testing.assert_frame_equal(measure.primary[same], column.primary[same])


def test_void_rows_change_no_answer():
    table = studies.voids().trials.table
    clean = ml.analyse_study(
        studies.study(
            studies.plan(studies.ERROR, units={"length": "cm"}), table[table["void"].isna()]
        )
    )
    found = answered("voids")
    pd.testing.assert_frame_equal(found.primary, clean.primary)
    pd.testing.assert_frame_equal(found.mixed.estimates, clean.mixed.estimates)
    assert found.people.attrition["reason"].eq("void: slipped").any()


def test_near_and_far_transfer_are_two_tests():
    found = answered("two transfers")
    assert [stage.short for stage in found.stages][-2:] == ["Near", "Far"]
    assert found.primary["test"].item() == "Near"
    means = found.first.comparison.means.set_index(["phase", "group"])["mean"]
    assert means["transfer 1", "random"] != means["transfer 2", "random"]
    assert set(found.audit.residuals["analysis"]) == {"transfer test near"}, "not its place, 1"
    assert found.mixed.design.fixed.levels["test"] == ("pretest", "transfer test near")


def test_the_mixed_model_lets_people_differ_at_each_test():
    errors, hits = answered("voids").mixed, answered("hits of trials").mixed
    assert dict(errors.random) == {"participant": "1 + test"}
    assert dict(hits.random) == {"participant/test": "1"} and hits.family == "binomial"


BAD = {
    "no column": (
        lambda: studies.study(studies.plan({"name": "grace", "better": "higher"}),
                              studies.trials(8, studies.PARTS)),
        "'grace' of the plan is no column",
    ),
    "no value": (
        lambda: studies.study(studies.plan(studies.ERROR),
                              studies.trials(8, studies.PARTS).assign(radial_error=np.nan)),
        "'radial_error' has no value that counts",
    ),
    "all void": (
        lambda: studies.study(studies.plan(studies.ERROR),
                              studies.trials(8, studies.PARTS).assign(void="rain")),
        "has no value that counts",
    ),
    "one column twice": (
        lambda: studies.study(studies.plan([studies.ERROR, studies.ERROR]),
                              studies.trials(8, studies.PARTS)),
        "two outcomes of the plan are one column",
    ),
    "a group without trials": (
        lambda: studies.study(studies.plan(studies.ERROR),
                              studies.trials(8, studies.PARTS, groups=("blocked",))),
        "a group of the primary comparison has no trials",
    ),
    "hits without a column": (
        lambda: studies.study(studies.plan(studies.HITS), studies.trials(8, studies.PARTS), "time"),
        "'hits' has no column in the trials",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_a_plan_that_does_not_fit_is_refused_in_one_sentence(name):
    make, said = BAD[name]
    with pytest.raises(InputError, match=re.escape(said)) as caught:
        ml.analyse_study(make())
    assert caught.value.remedy


def test_tests_that_nothing_tells_apart_are_refused_with_advice():
    found = studies.two_transfers()
    merged = found.trials.table.drop(columns="test")
    with pytest.raises(InputError, match=r"cannot be told apart.*add a column 'test'"):
        ml.analyse_study(ml.trials.Study(found.design, ml.trials.Trials(merged)))


def test_the_short_report_says_what_the_first_part_of_the_full_one_says(analysed, told):
    name, analysis = analysed
    document = told[0]
    first = document.blocks[: document.appendix]
    short = compose(view(analysis), short=True, versions={"motorlearn": "test"})
    assert short.appendix == len(short.blocks)
    for block in short.blocks:
        if isinstance(block, Text):
            short.resolved(block.text, lambda kind, name, label: label)
    heads = [block.text for block in short.headings if block.level == 1]
    assert heads == [
        block.text for block in document.headings if block in first and block.level == 1
    ]
    assert heads[0] == "Summary" and heads[-2:] == ["Limitations", "Method"]
    summary = [b.text for b in short.blocks if isinstance(b, Text)][:7]
    single = analysis.design.single_case is not None
    assert single or any("usable trial" in text for text in summary), name
    if isinstance(analysis.audit, Audit):
        assert any("checked" in text for text in summary)
    if isinstance(analysis.sensitivity, Sensitivity):
        assert any(text.startswith("The primary analysis was run in") for text in summary)


def test_the_page_to_sign_keeps_its_size_and_tells_the_primary_row(analysed):
    name, analysis = analysed
    page = supervisor_page(analysis)
    lines = str(page).splitlines()
    assert len(lines) <= 40 and max(map(len, lines)) <= 100
    topics = dict(page.entries)
    wanted = {"primary result", "unit", "assumptions", "departures", "registration", "tests run"}
    assert wanted <= set(topics)
    if isinstance(analysis.sensitivity, Sensitivity) and "missing" in topics:
        shifts = [text for text in topics["missing"] if "changes" in text and "missing lie" in text]
        known = analysis.sensitivity.tipping
        assert len(shifts) == (0 if known.empty else int(known["shift"].notna().sum()))
    row = analysis.primary.iloc[0]
    if name in studies.REFUSED:
        assert page.headline == "not computed" and analysis.refused in " ".join(
            topics["primary result"]
        )
    else:
        voice = view_of(analysis, decimal=".").outcomes[0].voice
        places = 2 if row["effect"] == "ratio" else voice.decimals
        for number in row[["estimate", "conf_low", "conf_high"]]:
            assert f"{abs(number):.{places}f}" in page.headline
    pdf = page.to_pdf()
    assert pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") == 1
    for field in ("name:", "date:", "signature:", "conditions:"):
        assert field in page.to_html()


def test_no_test_of_people_is_made_where_classes_were_allocated():
    found = answered("classes")
    first = found.first
    assert found.primary[["n_group", "n_reference", "df"]].values.tolist() == [[6, 6, 9]]
    assert (
        first.comparison.contrasts["df"].max() <= 10 and first.comparison.anova["df2"].max() <= 20
    )
    assert first.practice.anova["df2"].max() == 50 and first.points["n"].max() == 6
    for refused in (found.mixed, found.population):
        assert isinstance(refused, Refused) and "takes people for independent" in refused.reason
    document, _, page = shown(found)
    assert "6 random and 6 blocked class means analysed" in " ".join(document.texts)
    assert found.audit.table.set_index("assumption").loc[
        "the unit analysed is the unit allocated", "grade"
    ] == "fine"  # fmt: skip
    assert page.primary["n_group"].item() == 6


def test_people_who_meet_every_condition_are_compared_within_themselves():
    found = answered("crossover")
    assert found.people.count == 14 and found.primary["n_group"].item() == 13
    assert found.method.startswith("t of differences within participants, period")
    document, *_ = shown(found)
    text = " ".join(document.texts)
    assert "13 participants with both conditions analysed" in text
    assert "14 participants practised under every condition" in text and "P04 (blocked)" in text
