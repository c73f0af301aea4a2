"""The report end to end: what it holds and claims, whole or not there, alike in every format.

In one file because all of it looks at one report, which is written once.
"""

import csv
import dataclasses
import html
import io
import json
import re
from functools import cache

import docx
import openpyxl
import pytest
from docx.oxml.ns import qn

import motorlearn as ml
from motorlearn.compare import PhaseComparison
from motorlearn.digits import decimal_sign
from motorlearn.exceptions import FileError, InputError
from motorlearn.figures import text_overlaps, texts_cut
from motorlearn.report.sections.outcome_tables import descriptives_table
from motorlearn.report.sections.results import compose
from motorlearn.report.sections.study_tables import programme_table
from motorlearn.report.view import view_of
from motorlearn.report.writers.contents import Heading
from motorlearn.report.writers.numbers import to_results
from motorlearn.vocabulary import SHORT_LABELS
from motorlearn.wording import claim_problems
from motorlearn.wording.voice import decimals_for

VERSIONS = {"motorlearn": "test"}


@pytest.fixture(scope="module")
def find(analysed):
    """View of each study by its name."""
    return lambda name: view_of(analysed(name), decimal=".")


@pytest.fixture(scope="module")
def composed(find):
    """Report of each study by its name, composed once."""
    return cache(lambda name: compose(find(name), versions=VERSIONS))


@pytest.fixture
def document(composed, study_name):
    return composed(study_name)


@pytest.fixture(scope="module")
def pictured(analysed, tmp_path_factory):
    """The page of a small report with all that is drawn for it."""
    return ml.write_report(analysed("undelayed"), tmp_path_factory.mktemp("p") / "out", quiet=True)


def test_no_text_claims_more_than_its_test(document, studies, study_name):
    text = "\n".join(document.texts)
    assert claim_problems(text, delayed_test=studies[study_name]().design.has_delayed_test) == []


def test_no_text_has_leftovers(document):
    for text in document.texts:
        assert not re.search(r"\bnan\b|None|<NA>|\.\.|, ,|\(\)|  |– to –", text), text


def test_every_figure_holds_its_labels_and_says_its_message(document):
    for drawing in document.drawings:
        assert text_overlaps(drawing.figure) == [], drawing.name
        assert texts_cut(drawing.figure) == [], drawing.name
        assert len(drawing.alt) > 40 and len(drawing.caption) > 40
        assert drawing.alt != drawing.caption


def test_every_figure_and_table_is_referred_to(document):
    said = " ".join(document.texts)
    known = {f"{{fig:{d.name}}}" for d in document.drawings}
    known |= {f"{{tab:{t.name}}}" for t in document.tables}
    assert {name for name in known if name not in said} == set()


def test_no_heading_of_a_table_stands_twice(document):
    for table in document.tables:
        assert len(set(table.headings)) == len(table.headings), table.name


def test_word_and_page_tell_the_same_of_the_limits_in_the_appendix(folder):
    told = "Columns called lower and upper hold 95\u00a0% intervals."
    assert told in (folder / "report.html").read_text(encoding="utf-8")
    texts = [paragraph.text for paragraph in docx.Document(folder / "report.docx").paragraphs]
    assert texts[texts.index("Appendix") + 1] == told


def test_changes_have_the_unit_of_their_outcome(document, study_name, find):
    units = {entry.outcome.name: entry.outcome.unit for entry in find(study_name).outcomes}
    for table in document.tables:
        unit = units.get(table.name.removeprefix("change-").replace("-", "_"))
        if table.name.startswith("change-") and unit and "ratio" not in table.headings:
            assert f"change ({unit})" in table.headings


def test_titles_have_no_capitals_inside(document, study_name, studies):
    own = {test.name for test in studies[study_name]().design.tests}
    words = {phase.split()[0] for phase in SHORT_LABELS.values()}
    titles = [table.title for table in document.tables]
    titles += [block.text for block in document.blocks if isinstance(block, Heading)]
    for table in document.tables:
        if "change" in table.rows and table.rows["change"].dtype == object:
            titles += [str(cell) for cell in table.rows["change"]]
    for title in titles:
        inside = set(re.findall(r"\w+", title)[1:])
        assert not inside & words or any(name and name in title for name in own), title


def test_names_are_unique(document):
    names = [d.name for d in document.drawings] + [t.name for t in document.tables]
    assert len(set(names)) == len(names)


def test_the_page_is_self_contained_and_escaped(pictured):
    page = pictured.read_text(encoding="utf-8")
    sources = re.findall(r'(?:src|href)="([^"]{0,12})', page)
    assert all(source.startswith(("#", "data:image")) for source in sources)
    assert "http" not in re.sub(r"data:[^\"]*", "", page)
    images = re.findall(r"<img [^>]*>", page)
    assert images and all('alt="' in image for image in images)
    assert page.count("<th scope=") > 20


def test_links_lead_somewhere(folder):
    page = (folder / "report.html").read_text(encoding="utf-8")
    targets = set(re.findall(r'id="([^"]+)"', page))
    assert set(re.findall(r'href="#([^"]+)"', page)) <= targets


def formats(folder):
    """Formats of each figure."""
    found: dict[str, set[str]] = {}
    for path in (folder / "figures").iterdir():
        found.setdefault(path.stem, set()).add(path.suffix)
    return found


def test_figures_come_in_two_formats(pictured):
    assert set(map(frozenset, formats(pictured.parent).values())) == {frozenset({".png", ".svg"})}
    marks = {".png": b"\x89PNG", ".svg": b"<?xml"}
    for path in (pictured.parent / "figures").iterdir():
        assert path.read_bytes().startswith(marks[path.suffix])


def test_pdf_comes_on_request_also_where_figures_were_kept(analysed, tmp_path, no_pictures):
    for pdf in (False, True, False):
        page = ml.write_report(analysed("pilot"), tmp_path / "out", pdf=pdf, quiet=True)
        found = formats(page.parent)
        wanted = {".png", ".svg", ".pdf"} if pdf else {".png", ".svg"}
        assert len(found) > 5 and all(each == wanted for each in found.values())


def test_a_cell_agrees_with_its_own_value_only(agrees):
    assert agrees("−0.33", "-0.3333") and agrees("< .001", "1e-9") and agrees("61 %", "0.614")
    assert agrees("–", "") and agrees("blocked", "blocked") and agrees("9.3e−05", "9.253e-05")
    assert not agrees("0.33", "-0.3333") and not agrees("0.34", "0.3333")
    assert not agrees("< .001", "0.002") and not agrees("–", "0") and not agrees("a", "b")


def test_page_and_csv_hold_the_same_values(folder, agrees):
    page = (folder / "report.html").read_text(encoding="utf-8")
    for path in (folder / "tables").glob("*.csv"):
        rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"))))
        table = re.search(rf'<table id="tab-{path.stem}"[^>]*>.*?</table>', page, re.DOTALL)
        assert table, path.stem
        body = table[0].split("<tbody>")[1].split("</tbody>")[0]
        cells = [html.unescape(cell) for cell in re.findall(r"<td[^>]*>(.*?)</td>", body)]
        raw = [cell for row in rows[1:] for cell in row]
        assert len(cells) == len(raw)
        wrong = [pair for pair in zip(cells, raw, strict=True) if not agrees(*pair)]
        assert wrong == [], path.stem


def test_the_primary_sentence_repeats_the_stored_numbers(find, composed):
    found = find("shipped")
    row = (
        found.outcomes[0]
        .comparison.contrasts.query(
            "phase == 'retention' and adjusted and group == 'random' and reference == 'blocked'"
        )
        .iloc[0]
    )
    text = " ".join(composed("shipped").texts)
    assert f"{row['estimate']:.2f} times as large after random as after blocked" in text
    assert f"95 % CI {row['conf_low']:.2f} to {row['conf_high']:.2f}" in text
    assert f"{row['n_group']} of 24 random and {row['n_reference']} of 24 blocked" in text


def test_a_plan_without_days_gets_no_timeline(composed):
    document = composed("programme")
    names = [drawing.name for drawing in document.drawings]
    assert "design-timeline" not in names and "load-by-week" not in names


def test_without_a_delayed_test_nothing_is_said_about_what_lasts(composed):
    text = " ".join(composed("undelayed").texts)
    assert not re.search(r"\blearn(?!er)", text, re.IGNORECASE)
    assert "There is no test after a gap without practice" in text


def test_tests_given_twice_go_by_the_names_of_the_plan(composed):
    document = composed("programme")
    texts = " ".join(document.texts)
    cells = [str(c) for t in document.tables for line in t.cells() for c in line]
    assert "test: one week after the end" in cells
    assert any("week 4" in cell for cell in cells)
    assert not [t for t in [texts, *cells] if re.search(r"\bprogress [12]\b", t)]
    figure = next(d for d in document.drawings if d.name.startswith("practice-curve"))
    ticks = [tick.get_text().replace("\n", " ") for tick in figure.axes[0].get_xticklabels()]
    assert ticks == ["week 2", "week 4", "one week after the end"]


def test_terms_of_the_model_are_written_for_a_reader(composed):
    document = composed("shipped")
    table = next(t for t in document.tables if t.name == "mixed-fixed-effects")
    assert "group: random × test: delayed retention" in list(table.rows["term"])
    assert all(column.decimals == 3 for column in table.columns if column.name == "estimate")
    opened = next(t for t in document.tables if t.name == "open-assumptions")
    assert "missing scores can be ignored" in list(opened.rows["assumption"])
    assert "fine" not in set(opened.rows["grade"]) and opened.rows["remedy"].str.len().min() > 20


def test_the_sources_are_those_of_the_methods_used(composed):
    def cited(name):
        blocks = composed(name).blocks
        texts = [block.text for block in blocks if hasattr(block, "text")]
        return " ".join(texts[texts.index("References") :])

    shipped, programme, pilot = map(cited, ("shipped", "programme", "pilot"))
    for author in ("Schuirmann", "Vickers", "Holm", "McGraw", "Heathcote", "Hancock", "Bates"):
        assert author in shipped and author not in programme.replace("Bates", "")
    assert "Welch" not in shipped and "Hedges" in programme and "Greenhouse" in programme
    assert "Hancock" in pilot and "Bates" not in pilot and "Greenhouse" not in pilot


def test_a_programme_is_told_so_that_another_could_run_it(composed, studies):
    document = composed("course")
    text = " ".join(document.texts)
    for said in (
        "People could take part from 18 years of age who met: new to the task; not with: pain",
        "4 weeks with 2 sessions a week (6 warm-up trials first). Place: hall.",
        "sessions 5 to 8, days 14 to 24, each: 1 block of 40 trials",
        "Stopping rules decided beforehand: pain of 4 or more of 10 (ends the session).",
        "The plan goes above a limit in week 2: 172 trials where 150 a week are allowed "
        "(the club's own rule).",
    ):
        assert said in text
    drills = next(table for table in document.tables if table.name == "drills")
    assert "distance" not in drills.headings and len(drills.rows) == 2
    days = {row[0]: row[1] for row in programme_table(studies["course"]().design).cells()}
    assert days["Week 4"] == "27" and days["One week after the end"] == "31"
    standards = next(table for table in document.tables if table.name == "standards").rows
    assert standards.set_index("item").loc["who could take part", "where"] == "section Participants"


def test_two_hits_of_twenty_stay_two_hits_where_somebody_had_17_attempts(composed, find):
    found = find("course")
    assert found.outcomes[0].comparison.recipe.options["equivalence"] == 2
    assert found.outcomes[0].voice.name == "hits of 20"
    assert find("programme").outcomes[0].comparison.recipe.options["equivalence"] is None
    text = " ".join(composed("course").texts)
    assert "declared beforehand (−2.0 to 2.0), the 95 % interval of the change" in text


def test_tasks_stand_in_the_order_of_the_plan(find):
    table = descriptives_table(find("shipped").outcomes[0])
    assert list(dict.fromkeys(table.rows["task"])) == ["all", "straight", "bank", "lob"]


def test_a_pretest_without_a_day_comes_first(studies):
    table = programme_table(studies["pilot"]().design)
    assert [cell[0] for cell in table.cells()] == ["Pretest", "Practice session 1", "Retention"]


def test_one_person_a_group_gets_no_more_decimals_than_many(find):
    entry = find("pilot").outcomes[0]
    cells = entry.analysis.cells
    scores = cells.groupby(["participant", "phase"])["score"].mean()
    assert entry.voice.decimals == decimals_for(float(scores.std())) == 1


def test_what_json_does_not_know_never_reaches_the_stored_numbers(find, composed):
    with pytest.raises(ValueError, match="JSON"):
        to_results(find("pilot"), composed("pilot"), {"made": float("nan")})


def test_a_decimal_comma_reaches_every_text_and_cell(shipped, no_pictures):
    with decimal_sign(","):
        found = view_of(ml.analyse_study(shipped), decimal=",")
        document = compose(found, decimal=",", versions=VERSIONS)
    own_words = shipped.design.smallest_effect.reason
    texts = [re.sub(r"doi:\S+", "", text.replace(own_words, "")) for text in document.texts]
    cells = [cell for table in document.tables for line in table.cells(",") for cell in line]
    assert [text for text in [*texts, *cells] if re.search(r"\d\.\d", text)] == []


def test_one_group_hears_what_it_cannot_show(composed):
    document = composed("programme")
    text = " ".join(document.texts)
    assert "There is one group and nothing to compare it with" in text
    assert "Progress tests" in text
    assert not re.search(r"\blearn(?!er)", text, re.IGNORECASE)


def test_errors_in_the_data_stop_the_report(shipped, tmp_path):
    problems = shipped.problems.copy()
    problems.loc[problems.index[0], "severity"] = "error"
    broken = dataclasses.replace(shipped, problems=problems)
    with pytest.raises(InputError, match="the data have 1 error, so"):
        ml.write_report(broken, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_somebodys_folder_is_left_alone(tmp_path, studies):
    (tmp_path / "thesis.docx").write_text("years of work")
    with pytest.raises(FileError):
        ml.write_report(studies["pilot"](), tmp_path, quiet=True)
    assert (tmp_path / "thesis.docx").read_text() == "years of work"


def test_a_killed_run_leaves_the_old_report(tmp_path, monkeypatch, studies, quick_pictures):
    page = ml.write_report(studies["pilot"](), tmp_path / "out", quiet=True)
    before = page.read_bytes()

    def die(*args, **kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr("motorlearn.report.writing.to_page", die)
    with pytest.raises(KeyboardInterrupt):
        ml.write_report(studies["pilot"](), tmp_path / "out", quiet=True)
    assert page.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_decimal_comma_everywhere(tmp_path, studies, quick_pictures):
    page = ml.write_report(studies["programme"](), tmp_path / "out", decimal=",", quiet=True)
    main = page.read_text(encoding="utf-8").split("<main>")[1].split("</main>")[0]
    text = re.sub(r"<[^>]+>", " ", re.sub(r'src="[^"]*"', "", main))
    text = re.sub(r"(motorlearn|numpy|scipy|pandas|statsmodels) [\d.]+|doi:\S+", "", text)
    assert not re.search(r"\d\.\d", text)
    assert re.search(r"\d,\d", text)


def test_the_final_report_has_no_remarks_to_the_author(tmp_path, studies, quick_pictures):
    page = ml.write_report(studies["pilot"](), tmp_path / "out", draft=False, quiet=True)
    assert "For the author to write" not in page.read_text(encoding="utf-8")


def test_the_same_study_gives_the_same_page(tmp_path, studies, quick_pictures):
    first = ml.write_report(studies["pilot"](), tmp_path / "a", quiet=True).read_bytes()
    second = ml.write_report(studies["pilot"](), tmp_path / "b", quiet=True).read_bytes()
    assert first == second


@pytest.fixture(scope="module")
def word(folder):
    return docx.Document(folder / "report.docx")


def text_of(paragraph):
    """Visible text of a paragraph, values of fields included."""
    return "".join(node.text or "" for node in paragraph._p.iter(qn("w:t")))


def plain_page(folder):
    page = (folder / "report.html").read_text("utf-8")
    main = page.split("<main>")[1].split("</main>")[0]
    bare = re.sub(r"<[^<>]*>", "", re.sub(r'src="[^"]*"', "", main))
    return re.sub(r"\s+", " ", html.unescape(bare))


def test_word_and_csv_hold_the_same_tables(word, folder, agrees):
    written = {}
    for path in (folder / "tables").glob("*.csv"):
        rows = list(csv.reader(io.StringIO(path.read_text("utf-8"))))
        written.setdefault((tuple(rows[0]), len(rows)), []).append(rows[1:])
    in_word = [[[cell.text for cell in row.cells] for row in table.rows] for table in word.tables]
    assert sum(map(len, written.values())) == len(in_word)
    for rows in in_word:
        alike = written[tuple(rows[0]), len(rows)]
        assert any(_same(rows[1:], other, agrees) for other in alike), rows[0]


def _same(shown, raw, agrees):
    lines = zip(shown, raw, strict=True)
    return all(agrees(*pair) for pairs in lines for pair in zip(*pairs, strict=True))


def test_word_and_page_hold_the_same_numbers(word, folder):
    page = plain_page(folder)
    started = False
    for paragraph in word.paragraphs:
        started |= paragraph.style.name == "Heading 1"
        if paragraph.text == "How this report was made":
            break
        if started and paragraph.style.name in ("Normal", "Caption", "List Bullet"):
            text = re.sub(r"\s+", " ", text_of(paragraph)).strip()
            assert text.replace("Caution. ", "") in page


def test_word_uses_real_styles(word):
    styles = {paragraph.style.name for paragraph in word.paragraphs}
    assert {"Title", "Heading 1", "Heading 2", "Caption", "List Bullet", "Caution"} <= styles
    assert word.core_properties.title and word.core_properties.language == "en-GB"


def test_every_picture_has_its_alternative_text(word):
    described = [shape._inline.docPr.get("descr") for shape in word.inline_shapes]
    assert len(described) >= 8
    assert all(text and len(text) > 60 for text in described)


def test_every_table_has_a_header_row(word):
    for table in word.tables:
        assert table.rows[0]._tr.trPr.find(qn("w:tblHeader")) is not None
        assert table._tbl.tblPr.find(qn("w:tblCaption")).get(qn("w:val"))


def test_cross_references_lead_to_captions(word):
    marks = {mark.get(qn("w:name")) for mark in word.element.iter(qn("w:bookmarkStart"))}
    fields = [node.text for node in word.element.iter(qn("w:instrText"))]
    wanted = {text.split()[1] for text in fields if text.split()[0] == "REF"}
    assert wanted and wanted <= marks
    assert len(marks) == len(list(word.element.iter(qn("w:bookmarkStart"))))
    assert sum("SEQ Figure" in text for text in fields) == len(word.inline_shapes)
    assert sum("SEQ Table" in text for text in fields) == len(word.tables)


def test_the_contents_lead_to_every_heading(word):
    entries = [p for p in word.paragraphs if p.style.name.startswith("toc ")]
    headings = [p for p in word.paragraphs if p.style.name in ("Heading 1", "Heading 2")]
    shown = [p.text for p in headings if p.text != "How this report was made"]
    assert [text_of(entry) for entry in entries] == shown
    marks = {mark.get(qn("w:name")) for mark in word.element.iter(qn("w:bookmarkStart"))}
    links = [link.get(qn("w:anchor")) for link in word.element.iter(qn("w:hyperlink"))]
    assert len(set(links)) == len(shown) and set(links) <= marks
    fields = [node.get(qn("w:fldCharType")) for node in word.element.iter(qn("w:fldChar"))]
    assert fields.count("begin") == fields.count("separate") == fields.count("end")
    assert any(
        (node.text or "").split()[:1] == ["TOC"] for node in word.element.iter(qn("w:instrText"))
    )


def test_a_number_is_not_parted_from_its_sign_of_unit(word, folder):
    page = (folder / "report.html").read_text("utf-8").split("<main>")[1]
    text = re.sub(r"<t[dh].*?</t[dh]>|<img[^>]*>", "", page, flags=re.DOTALL)
    assert re.search(r"\d\u00a0%", text) and not re.search(r"\d %", text)
    assert not any(re.search(r"\d %", p.text) for p in word.paragraphs)


def test_the_json_reads_back_into_results(folder):
    stored = json.loads((folder / "results.json").read_text("utf-8"))
    text = json.dumps(stored["results"]["radial_error: comparison"])
    comparison = PhaseComparison.from_json(text)
    row = comparison.contrasts.query("phase == 'retention' and adjusted and group == 'random'")
    said = next(s for s in stored["sentences"] if "times as large after random" in s)
    assert f"{row['estimate'].iloc[0]:.2f} times" in said
    assert comparison.recipe.options["baseline"] == "pretest"


def test_every_sentence_of_the_json_is_on_the_page(folder):
    stored = json.loads((folder / "results.json").read_text("utf-8"))
    page = plain_page(folder)
    assert all(re.sub(r"\s+", " ", sentence) in page for sentence in stored["sentences"])


def test_the_workbook_has_a_sheet_for_every_table(folder):
    book = openpyxl.load_workbook(folder / "tables" / "tables.xlsx")
    titles = {sheet["A1"].value for sheet in book}
    word = docx.Document(folder / "report.docx")
    described = {
        table._tbl.tblPr.find(qn("w:tblCaption")).get(qn("w:val")) for table in word.tables
    }
    assert titles == described


def test_every_table_comes_as_latex_and_styled_page(folder):
    for path in (folder / "tables").glob("*.csv"):
        assert (path.with_suffix(".tex")).read_text("utf-8").startswith(r"\begin{table}")
        assert "<table" in (path.with_suffix(".html")).read_text("utf-8")
