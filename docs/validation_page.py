"""The validation page: every outside reference of the tests, and our values beside some of them.

Everything on the page is read from ``tests/reference`` or computed while it is written.
"""

import json
import math
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

import motorlearn as ml
from motorlearn.tables import Column, Table, to_markdown

Numbers = dict[str, tuple[float, float]]


def write(cases: Path, page: Path) -> None:
    """Write the tables of the validation page."""
    folders = sorted(path for path in cases.iterdir() if (path / "source.toml").is_file())
    parts = [_sources(folders, cases.parent), "## Our values beside some of them"]
    parts += [_ours(folder) for folder in folders]
    page.parent.mkdir(exist_ok=True)
    page.write_text("\n\n".join(part for part in parts if part) + "\n", encoding="utf-8")


def _sources(folders: list[Path], tests: Path) -> str:
    texts = {file: file.read_text(encoding="utf-8") for file in tests.rglob("test_*.py")}
    entries = []
    for folder in folders:
        users = sorted(
            file.relative_to(tests).as_posix()
            for file, text in texts.items()
            if f'"{folder.name}"' in text or f"reference/{folder.name}" in text
        )
        for case, card in _cards(folder):
            made = " ".join(str(card.get(key, "")) for key in ("software", "version"))
            entries.append(
                f"{case}\n: **{card['status']}**, {made.replace('none -', 'by hand').strip(' -')}. "
                f"{card['source']}. Tolerance {card['tolerance']}: {card['why']}. "
                f"Tests: {', '.join(f'`{user}`' for user in users) or 'none yet'}."
            )
    return f"## {len(entries)} reference cases\n\n" + "\n\n".join(entries)


def _cards(folder: Path) -> list[tuple[str, dict[str, Any]]]:
    """The card of a case, or of each of its parts."""
    card = tomllib.loads((folder / "source.toml").read_text(encoding="utf-8"))
    if "source" in card:
        return [(folder.name, card)]
    return [(f"{folder.name}: {part}", entry) for part, entry in card.items()]


def _ours(folder: Path) -> str:
    compute = _COMPUTED.get(folder.name)
    if compute is None:
        return ""
    reference = json.loads((folder / "values.json").read_text(encoding="utf-8"))
    frame = pd.DataFrame(
        [
            (name, _digits(theirs), _digits(ours), _distance(theirs, ours))
            for name, (theirs, ours) in compute(reference).items()
        ],
        columns=["quantity", "reference", "ours", "relative difference"],
    )
    columns = tuple(Column(name) for name in frame.columns)
    return to_markdown(Table(folder.name, folder.name, columns, frame))


def _digits(value: float) -> str:
    return f"{value:.10g}"


def _distance(theirs: float, ours: float) -> str:
    if theirs == ours:
        return "0"
    return f"{abs(ours - theirs) / max(abs(theirs), 1e-300):.0e}"


def _aiming(reference: dict[str, Any]) -> Numbers:
    one, two = reference["one_dimension"], reference["two_dimensions"]
    errors, (x, y) = one["e"], np.array(two["xy"], float).T
    measures = ml.measures
    return {
        "constant error": (one["CE"], measures.constant_error(errors)),
        "variable error": (one["VE"], measures.variable_error(errors)),
        "absolute error": (one["AE"], measures.absolute_error(errors)),
        "total error": (one["E"], measures.total_error(errors)),
        "mean radial error": (two["MRE"], measures.mean_radial_error(x, y)),
        "subject-centroid radial error": (two["SRE"], measures.centroid_radial_error(x, y)),
        "bivariate variable error": (two["BVE"], measures.bivariate_variable_error(x, y)),
    }


def _proportions(reference: dict[str, Any]) -> Numbers:
    found: Numbers = {}
    for name, entry in reference.items():
        hits, _, attempts = name.partition("/")
        if not attempts.isdigit():
            continue
        ours = ml.measures.wilson_interval(int(hits), int(attempts))
        for end, theirs, mine in zip(("lower", "upper"), entry["wilson"], ours):
            found[f"Wilson {name}, {end}"] = (theirs, float(mine))
    return found


_NIST: dict[str, tuple[str, dict[str, float], float]] = {
    "Misra1a": ("exponential", {"start": 0.0}, 0.0),
    "BoxBOD": ("exponential", {"start": 0.0}, 0.0),
    "DanWood": ("power", {"asymptote": 0.0}, 1.0),
    "Bennett5": ("power_prior", {"asymptote": 0.0}, 1.0),
}


def _nist(reference: dict[str, Any]) -> Numbers:
    found: Numbers = {}
    for name, (form, fixed, first) in _NIST.items():
        entry = reference[name]
        fit = ml.fit_curve(entry["x"], entry["y"], form=form, fixed=fixed, first=first)
        found[f"{name}, residual sum of squares"] = (entry["rss"], fit.sse)
    return found


def _hedges(reference: dict[str, Any]) -> Numbers:
    ours = ml.measures.hedges_g(*(tuple(reference[key]) for key in ("m", "s", "n")))
    return {"d × exact correction": (reference["d"] * reference["J_exact"], ours.g)}


def _sleep(reference: dict[str, Any]) -> Numbers:
    first, second = np.array(reference["g1"]), np.array(reference["g2"])
    paired, welch = ml.linear.one_sample(first - second), ml.linear.welch(first, second)
    return {
        "paired t": (reference["paired_t"], paired.statistic),
        "paired p": (reference["paired_p"], paired.p),
        "Welch t": (reference["welch_t"], welch.statistic),
        "Welch df": (reference["welch_df"], welch.df),
        "Welch p": (reference["welch_p"], welch.p),
    }


def _equivalence(reference: dict[str, Any]) -> Numbers:
    (first, second), sizes = reference["sd"], tuple(reference["n"])
    ours = ml.linear.equivalence_from_summary(
        tuple(reference["m"]),
        (first, second),
        sizes,
        bound=0.43 * math.sqrt((first**2 + second**2) / 2),
    )
    return {
        "p, lower bound": (reference["p_lower"], ours.p_low),
        "p, upper bound": (reference["p_upper"], ours.p_high),
    }


def _icc(reference: dict[str, Any]) -> Numbers:
    case = reference["shrout_fleiss_1979"]
    scores = np.array(case["ratings"])
    items, raters = np.indices(scores.shape)
    ratings = pd.DataFrame(
        {"item": items.ravel(), "rater": raters.ravel(), "score": scores.ravel()}
    )
    found = ml.rater_agreement(ratings, item="item", rater="rater", score="score", kind="total")
    ours = found.estimates.set_index("term")["estimate"]
    return {form: (case["computed"][form], ours[form]) for form in case["computed"] if form in ours}


def _t_power(reference: dict[str, Any]) -> Numbers:
    ours = [ml.plan.t_power(reference["n"], effect) for effect in reference["d"]]
    rows = zip(reference["d"], reference["both_tails"], ours)
    return {f"power at n = 11, d = {d}": (theirs, mine) for d, theirs, mine in rows}


_COMPUTED: dict[str, Callable[[dict[str, Any]], Numbers]] = {
    "aiming_scores": _aiming,
    "equivalence_summary": _equivalence,
    "hedges": _hedges,
    "nist_nonlinear": _nist,
    "proportions": _proportions,
    "rater_agreement": _icc,
    "student_sleep": _sleep,
    "t_power": _t_power,
}
