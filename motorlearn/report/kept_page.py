"""A page that was kept: read back, and held against the study as it is now."""

import math
from pathlib import Path

import numpy as np
import pandas as pd

from motorlearn.exceptions import FileError, InputError
from motorlearn.report.study_page import HASH, StudyAudit, audit_study, data_hashes
from motorlearn.results import Recipe
from motorlearn.trials import Study

TOLERANCE = 1e-8
"""Largest relative difference between stored and recomputed numbers that counts as the same."""


def read_page(path: str | Path) -> StudyAudit:
    """Read a page that was kept as JSON, as ``motorlearn audit --store`` does.

    Raises
    ------
    FileError
        If there is no such file, or it is damaged or something else.

    Examples
    --------
    >>> import tempfile
    >>> facts = pd.DataFrame({"topic": ["title"], "finding": ["Ring push"]})
    >>> numbers = pd.DataFrame({"name": ["primary: estimate"], "value": [-3.1]})
    >>> page = StudyAudit(facts, *[pd.DataFrame()] * 5, numbers, Recipe("audit_study"))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     _ = Path(folder, "page.json").write_text(page.to_json(), encoding="utf-8")
    ...     kept = read_page(Path(folder, "page.json"))
    ...
    >>> kept.numbers.values.tolist()
    [['primary: estimate', -3.1]]
    """
    file = Path(path)
    if not file.is_file():
        raise FileError("there is no page kept under this name", [str(file)])
    again = "keep the page again with 'motorlearn audit --store'"
    try:
        page = StudyAudit.from_json(file.read_text(encoding="utf-8"))
    except InputError as problem:
        raise FileError(
            f"{file.name} is no page of a study: {problem.cause}", problem.values, again
        ) from problem
    except (OSError, UnicodeDecodeError) as problem:
        raise FileError("the page that was kept cannot be read", [str(file)], again) from problem
    if not _is_whole(page):
        raise FileError("the page that was kept is damaged", [str(file)], again)
    return page


def _is_whole(page: StudyAudit) -> bool:
    """Whether a page that was read back holds what it is compared by."""
    facts, numbers, recipe = page.facts, page.numbers, page.recipe
    shaped = (
        isinstance(facts, pd.DataFrame)
        and isinstance(numbers, pd.DataFrame)
        and isinstance(recipe, Recipe)
        and list(facts) == ["topic", "finding"]
        and list(numbers) == ["name", "value"]
        and isinstance(recipe.seed, int | None)
    )
    if not shaped:
        return False
    texts = [*facts["topic"], *numbers["name"]]
    return (
        all(isinstance(text, str) for text in texts)
        and facts["topic"].is_unique
        and pd.api.types.is_numeric_dtype(numbers["value"])
    )


def recompute(study: Study, stored: StudyAudit, *, tolerance: float = TOLERANCE) -> pd.DataFrame:
    """Run the audit again and hold its numbers against stored ones.

    Returns
    -------
    DataFrame
        ``name, stored, now, agrees``; numbers agree where they differ by at most ``tolerance``
        relative to their size (absolutely below one), and a number only one side has does not.
    """
    again = audit_study(study, seed=stored.recipe.seed or 0)
    both = stored.numbers.merge(
        again.numbers, on="name", how="outer", suffixes=("_stored", "_now"), indicator=True
    )
    old, new = both["value_stored"].to_numpy(), both["value_now"].to_numpy()
    close = np.isclose(old, new, rtol=tolerance, atol=tolerance, equal_nan=True)
    return pd.DataFrame(
        {
            "name": both["name"],
            "stored": old,
            "now": new,
            "agrees": close & (both["_merge"] == "both").to_numpy(),
        }
    )


def agreement(found: pd.DataFrame) -> tuple[list[str], bool]:
    """Say whether recomputed numbers agree with stored ones: lines, and whether all do.

    Parameters
    ----------
    found : DataFrame
        What :func:`recompute` gave.

    Examples
    --------
    >>> found = pd.DataFrame({"name": ["primary: estimate", "primary: p"], "stored": [-3.1, 0.02],
    ...                       "now": [-3.1, 0.03], "agrees": [True, False]})
    >>> lines, same = agreement(found)
    >>> lines
    ['primary: p: stored 0.02, now 0.03', '1 of 2 numbers differ from those kept.']
    >>> same
    False
    """
    wrong = found[~found["agrees"]]
    if wrong.empty:
        return [f"All {len(found)} numbers agree with those kept."], True
    lines = [
        f"{r.name}: {_kept(r.stored)}, now {_kept(r.now, 'not there')}"
        for r in wrong.head(20).itertuples()
    ]
    return [*lines, f"{len(wrong)} of {len(found)} numbers differ from those kept."], False


def _kept(value: float, absent: str = "not stored") -> str:
    if math.isnan(value):
        return absent
    return f"{value:.10g}" if absent == "not there" else f"stored {value:.10g}"


def changed_files(study: Study, stored: StudyAudit) -> list[str]:
    """Files of a study that are new, gone or changed since a page was kept, in order of name.

    Examples
    --------
    >>> import motorlearn as ml
    >>> plan = ml.design.design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "blocked", "size": 8}, {"name": "random", "size": 8}],
    ...     "tests": [{"phase": "pretest", "trials": 20},
    ...               {"phase": "retention", "trials": 20, "interval_days": 7}],
    ...     "outcomes": [{"name": "hits", "better": "higher"}],
    ...     "target": {"radius": 20},
    ... })
    >>> study = ml.simulate_study(plan, seed=3, missing=False)
    >>> facts = pd.DataFrame(
    ...     [(HASH + name, found) for name, found in data_hashes(study).items()],
    ...     columns=["topic", "finding"],
    ... )
    >>> kept = StudyAudit(facts, *[pd.DataFrame()] * 6, Recipe("audit_study"))
    >>> changed_files(study, kept)
    []
    >>> changed_files(ml.simulate_study(plan, seed=4, missing=False), kept)
    ['trials in memory']
    """
    kept = stored.facts.set_index("topic")["finding"]
    before = {t.removeprefix(HASH): kept[t] for t in kept.index if t.startswith(HASH)}
    now = data_hashes(study)
    return sorted(name for name in before | now if before.get(name) != now.get(name))
