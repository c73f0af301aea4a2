"""A report for each of several studies, and a page that puts their primary contrasts together."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pandas as pd

import motorlearn
from motorlearn import digits
from motorlearn.digits import count, decimal_sign
from motorlearn.exceptions import InputError
from motorlearn.figures import Drawing, effect_forest
from motorlearn.files import new_folder
from motorlearn.report.figure_cache import FORMS, kept_from
from motorlearn.report.meta_analysis import Synthesis, synthesise
from motorlearn.report.view import StudyView, primary_contrast, view_of
from motorlearn.report.writers.contents import Document, Heading, Text
from motorlearn.report.writers.page import to_page
from motorlearn.report.writing import MARK, analysed, known_sign, write_found
from motorlearn.tables import Table, to_csv
from motorlearn.trials import Study


def write_reports(
    studies: Mapping[str, Study],
    folder: str | Path,
    *,
    decimal: str = ".",
    draft: bool = True,
    short: bool = False,
    pdf: bool = False,
    quiet: bool | None = None,
) -> Path:
    """Write a report for each study and a page with the forest of their primary contrasts.

    Parameters
    ----------
    studies : mapping of str to Study
        By name; the name becomes the name of the folder.
    folder : path-like
        Folder to make, or to replace where an earlier page of several studies is in it.
    decimal : {".", ","}
        Decimal sign.
    draft : bool
        Whether remarks to the author are shown in the single reports.
    short : bool
        Whether the single reports are written without their appendix.
    pdf : bool
        Whether the figures of the single reports are written as PDF too.
    quiet : bool, optional
        True shows no progress.

    Returns
    -------
    Path
        The page, ``report.html``.

    Raises
    ------
    InputError
        If there are fewer than two studies, or fewer than two with a primary contrast.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from motorlearn.design import design_from_mapping
    >>> plan = design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "blocked", "size": 5}, {"name": "random", "size": 5}],
    ...     "tests": [{"phase": "pretest", "trials": 10},
    ...               {"phase": "retention", "trials": 10, "interval_days": 7}],
    ...     "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
    ...     "primary": {"outcome": "radial_error", "groups": ["random", "blocked"]},
    ... })
    >>> halls = {name: motorlearn.simulate_study(plan, seed=seed)
    ...          for seed, name in enumerate(["first hall", "second hall"])}
    >>> with TemporaryDirectory() as place:
    ...     page = write_reports(halls, f"{place}/out", short=True, quiet=True)
    ...     sorted(entry.name for entry in page.parent.iterdir() if entry.is_dir())
    ['first hall', 'second hall']
    """
    if len(studies) < 2:
        raise InputError("several studies are needed", list(studies), "use write_report for one")
    with decimal_sign(known_sign(decimal)):
        _write(
            studies, Path(folder), decimal=decimal, draft=draft, short=short, pdf=pdf, quiet=quiet
        )
    return Path(folder) / MARK


def _write(
    studies: Mapping[str, Study],
    folder: Path,
    *,
    decimal: str,
    draft: bool,
    short: bool,
    pdf: bool,
    quiet: bool | None,
) -> None:
    found = {
        name: view_of(analysed(study, decimal=decimal, quiet=quiet), decimal=decimal)
        for name, study in studies.items()
    }
    summary = synthesise(_contrasts(found), alike=_alike(found))
    document = _document(found, summary, decimal)
    with new_folder(folder, mark=MARK) as work:
        for name, entry in found.items():
            (work / name).mkdir()
            forms = FORMS + (("pdf",) if pdf else ())
            kept = replace(entry, kept=kept_from(folder / name, forms))
            write_found(kept, work / name, decimal=decimal, draft=draft, short=short, quiet=quiet)
        (drawing,) = document.drawings
        (work / f"{drawing.name}.png").write_bytes(drawing.png())
        (work / f"{drawing.name}.svg").write_bytes(drawing.svg())
        (table,) = document.tables
        csv = to_csv(table, decimal=decimal)
        (work / f"{table.name}.csv").write_text(csv, encoding="utf-8", newline="")
        (work / "results.json").write_text(summary.to_json(), "utf-8")
        made = {"motorlearn": motorlearn.__version__}
        page = to_page(document, {drawing.name: drawing.png()}, made)
        (work / MARK).write_text(page, "utf-8")


def _contrasts(found: Mapping[str, StudyView]) -> dict[str, pd.Series]:
    rows = {}
    for name, entry in found.items():
        row = primary_contrast(entry, entry.outcomes[0])
        if row is not None and not entry.analysis.refused:
            rows[name] = row
    return rows


def _alike(found: Mapping[str, StudyView]) -> bool:
    """Whether all studies measure the same thing in the same unit."""
    outcomes = [entry.outcomes[0].outcome for entry in found.values()]
    return len({(one.name, one.unit, one.better) for one in outcomes}) == 1


def _document(found: Mapping[str, StudyView], summary: Synthesis, decimal: str) -> Document:
    drawing = _forest(found, summary, decimal)
    table: Table = summary.tables()[0]
    pairs = {f"{row['group']} against {row['reference']}" for row in _contrasts(found).values()}
    same = " The studies do not all compare the same groups." if len(pairs) > 1 else ""
    blocks = (
        Heading("Summary of the studies"),
        Text(_sentence(summary, decimal)),
        Text(
            f"{{fig:{drawing.name}}} and {{tab:{table.name}}} show each study's primary contrast "
            f"({'; '.join(sorted(pairs))}).{same} Each study has its own report in its folder."
        ),
        drawing,
        table,
        Text(
            "A summary of so few studies says little about how much studies differ; it does not "
            "correct for studies that were never reported.",
            "caution",
        ),
    )
    return Document("Several studies together", "Random-effects summary", blocks, decimal)


def _forest(found: Mapping[str, StudyView], summary: Synthesis, decimal: str) -> Drawing:
    rows = summary.studies.rename(columns={"study": "name"})
    total = {
        "name": "Summary",
        "estimate": summary.estimate,
        "conf_low": summary.conf_low,
        "conf_high": summary.conf_high,
    }
    rows = pd.concat([rows, pd.DataFrame([total])], ignore_index=True)
    outcome = next(iter(found.values())).outcomes[0].voice
    unit = f" in{outcome.unit}" if outcome.unit else ""
    what = {
        "ratio": f"ratio of means in {outcome.name}",
        "difference": f"difference of means in {outcome.name}{unit}",
        "g": "Hedges g",
    }[summary.scale]
    drawing = effect_forest(
        rows,
        label=what,
        null=1.0 if summary.scale == "ratio" else 0.0,
        decimal=decimal,
        summary=[len(rows) - 1],
    )
    said = "; ".join(
        f"{row['name']} {digits.number(row['estimate'], decimal=decimal)} "
        f"({digits.interval(row['conf_low'], row['conf_high'], decimal=decimal)})"
        for row in rows.to_dict("records")
    )
    caption = (
        f"Primary contrast of each study ({what}) with its 95 % confidence interval, and the "
        "random-effects summary (diamond) with its interval by Hartung, Knapp, Sidik and Jonkman. "
        f"Studies: {len(summary.studies)}; participants in the contrasts: "
        f"{int(summary.studies['n'].sum())}."
    )
    return drawing.with_words(caption, f"Forest plot of {count(len(rows) - 1, 'study')}. {said}.")


def _sentence(summary: Synthesis, decimal: str) -> str:
    def number(value: float, places: int = 2) -> str:
        return digits.number(value, places, decimal=decimal)

    what = {"ratio": "ratio", "difference": "difference", "g": "Hedges g"}[summary.scale]
    ahead = ""
    if len(summary.studies) > 2:
        span = digits.interval(summary.prediction_low, summary.prediction_high, decimal=decimal)
        ahead = f" The effect in a further study is predicted to lie from {span} (95 %)."
    return (
        f"Over {len(summary.studies)} studies the summary {what} is {number(summary.estimate)} "
        f"(95 % CI {digits.interval(summary.conf_low, summary.conf_high, decimal=decimal)}; "
        f"t({len(summary.studies) - 1}) = {number(summary.statistic)}, "
        f"{digits.p_clause(summary.p, decimal=decimal)}); "
        f"variance between studies {digits.significant(summary.tau2, 2, decimal=decimal)}, "
        f"I² = {digits.percent(summary.i2, decimal=decimal)}.{ahead}"
    )
