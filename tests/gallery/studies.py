"""Studies that are not the shipped one: every new thing is tried on all of them.

All are invented by the code below, in the scenario of the ring push. Each is a function without
arguments that gives a ``Study``; ``write`` puts one into a folder as a user would have it.
"""

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

import motorlearn as ml
from motorlearn.design import design_from_mapping
from motorlearn.trials import Study, Trials

SHIPPED = Path(__file__).parents[2] / "data" / "ring-push"
TWO = [{"name": "blocked", "schedule": "blocked"}, {"name": "random", "schedule": "random"}]
TESTS = [
    {"phase": "pretest", "trials": 20},
    {"phase": "retention", "trials": 20, "interval_days": 7},
]
PRACTICE = [{"session": 1, "day": 0, "blocks": 6, "trials_per_block": 10}]


def plan(outcome, **more):
    """A plan of two groups, a pretest, practice and a retention test."""
    outcomes = [outcome] if isinstance(outcome, dict) else outcome
    content = {
        "study": {"title": "Ring push", "seed": 1},
        "groups": TWO,
        "practice": PRACTICE,
        "tests": TESTS,
        "outcomes": outcomes,
        "primary": {
            "outcome": outcomes[0]["name"],
            "phase": "retention",
            "groups": ["random", "blocked"],
        },
    }
    return {key: value for key, value in (content | more).items() if value is not None}


def trials(people, parts, *, groups=("blocked", "random"), seed=0, effect=0.0):
    """Rows of trials: landing points, hits, times; ``parts`` are (phase, session, block, trials).

    People differ; the spread falls from the pretest to practice; the last group differs at
    delayed tests by ``effect`` on the log of the spread.
    """
    rng = np.random.default_rng(seed)
    frames = []
    for person in range(people):
        group = groups[person % len(groups)]
        own = rng.normal(0, 0.25)
        for phase, session, block, count in parts:
            level = 0.05 + 0.45 * np.exp(-0.5 * (block - 1)) * (phase == "acquisition")
            level += 0.45 * (phase == "pretest")
            level += effect * (phase in ("retention", "transfer") and group == groups[-1])
            spread = 14 * np.exp(own + level)
            x, y = rng.normal(0, spread, (2, count))
            frames.append(
                pd.DataFrame(
                    {
                        "participant": f"P{person + 1:02d}",
                        "group": group,
                        "phase": phase,
                        "session": session,
                        "block": block,
                        "trial": np.arange(1, count + 1),
                        "x": x.round(1),
                        "y": y.round(1),
                        "time": (2 + 6 * np.exp(own + level) + rng.normal(0, 1, count)).round(2),
                    }
                )
            )
    table = pd.concat(frames, ignore_index=True)
    radial = np.hypot(table["x"], table["y"])
    return table.assign(radial_error=radial.round(2), hit=(radial <= 20).astype(int))


PARTS = [
    ("pretest", 1, 1, 20),
    *(("acquisition", 1, block, 10) for block in range(1, 7)),
    ("retention", 2, 1, 20),
]


def study(content, table, *columns):
    """A study in memory; with ``columns`` only these columns of outcomes."""
    outcomes = {"x", "y", "time", "radial_error", "hit"}
    kept = [name for name in table if name not in outcomes or not columns or name in columns]
    return Study(design_from_mapping(content), Trials(table[kept], units={"length": "cm"}))


def counted(table, by=("participant", "group", "phase", "session", "block")):
    """Hits of attempts instead of single trials."""
    cells = table.groupby(list(by), sort=False)["hit"].agg(hits="sum", attempts="size")
    return cells.reset_index()


HITS = {"name": "hits", "better": "higher"}
ERROR = {"name": "radial_error", "unit": "cm", "better": "lower"}


def hits_one_group():
    """One group, hits of 20 at two progress tests and a retention test, practice blank."""
    parts = [("progress", 1, 1, 20), ("progress", 2, 1, 20), ("retention", 3, 1, 20)]
    table = trials(14, parts, groups=("programme",), seed=3)
    rows = counted(table)
    rows = rows[~((rows["participant"] == "P03") & (rows["phase"] == "retention"))]
    content = plan(
        HITS,
        groups=[{"name": "programme", "schedule": "increasing"}],
        practice=None,
        tests=[
            {"phase": "progress", "name": "week 2", "session": 1, "week": 2, "trials": 20},
            {"phase": "progress", "name": "week 4", "session": 2, "week": 4, "trials": 20},
            {"phase": "retention", "session": 3, "interval_days": 7, "trials": 20},
        ],
        primary={"outcome": "hits", "phase": "retention", "groups": []},
        smallest_effect={"value": 2, "reason": "what a coach would see"},
    )
    return study(content, rows)


def hits_of_trials():
    """Two groups, hits from rows of 0 and 1, no landing points."""
    content = plan(HITS, smallest_effect={"value": 2, "reason": "what a coach would see"})
    return study(content, trials(24, PARTS, seed=4), "hit")


def hits_of_attempts():
    """Two groups, hits among attempts; somebody made 17 of 20."""
    rows = counted(trials(24, PARTS, seed=5))
    short = (rows["participant"] == "P04") & (rows["phase"] == "retention")
    rows.loc[short, "attempts"] = 17
    rows["hits"] = rows[["hits", "attempts"]].min(axis=1)
    return study(plan(HITS), rows)


def hit_rates():
    """Two groups, the rate of hits as outcome, rows of 0 and 1."""
    return study(plan({"name": "hit", "better": "higher"}), trials(24, PARTS, seed=5), "hit")


def plain_hits():
    """A plain table under a plan of hits: participant, group, phase, trial, hit."""
    table = trials(20, PARTS, seed=6)
    table["trial"] = table.groupby(["participant", "phase"]).cumcount() + 1
    return study(plan(HITS), table.drop(columns=["session", "block"]), "hit")


def timed_task():
    """Two groups, a time in seconds above a shift, cut-offs, less is better, as a ratio."""
    rules = {
        "slowest": 16.0, "fastest": 1.5, "reason": "looked away", "scale": "log", "shift": 1.0,
        "other_cut_offs": [[1.2, 14.0]],
    }  # fmt: skip
    outcome = {"name": "time", "unit": "s", "better": "lower", "kind": "time", "times": rules}
    content = plan(outcome, units={"time": "s"})
    content["primary"]["effect"] = "ratio"
    return study(content, trials(24, PARTS, seed=7), "time")


def plain_times():
    """The times as they are, without rules for them."""
    content = plan({"name": "time", "unit": "s", "better": "lower"}, units={"time": "s"})
    content["primary"]["effect"] = "ratio"
    return study(content, trials(24, PARTS, seed=7), "time")


def scatter():
    """Bivariate variable error, a measure of all trials of a test."""
    outcome = {"name": "bivariate_variable_error", "unit": "cm", "better": "lower"}
    return study(plan(outcome, units={"length": "cm"}), trials(24, PARTS, seed=8), "x", "y")


def mean_error():
    """The shipped study with the measure that is the mean of its primary outcome."""
    shipped = ml.read_study(SHIPPED)
    outcomes = (shipped.design.outcomes[0].model_copy(update={"name": "mean_radial_error"}),)
    primary = shipped.design.primary.model_copy(update={"outcome": "mean_radial_error"})
    design = shipped.design.model_copy(update={"outcomes": outcomes, "primary": primary})
    return Study(design, shipped.trials, shipped.participants, None, shipped.problems)


def two_transfers():
    """Two transfer tests on one day, told apart by the column ``test``."""
    parts = [*PARTS, ("transfer", 3, 1, 20), ("transfer", 3, 2, 20)]
    table = trials(20, parts, seed=9, effect=-0.2)
    moved = table["phase"] == "transfer"
    table["test"] = np.where(moved, np.where(table["block"] == 1, "near", "far"), "")
    table.loc[moved, "block"] = 1
    tests = [
        *TESTS,
        {"phase": "transfer", "name": "near", "session": 3, "trials": 20, "interval_days": 8},
        {"phase": "transfer", "name": "far", "session": 3, "trials": 20, "interval_days": 8},
    ]
    content = plan(ERROR, tests=tests, units={"length": "cm"})
    content["primary"] |= {"phase": "transfer", "test": "near"}
    return study(content, table)


def voids():
    """Rows of one group at retention void and tripled."""
    table = trials(24, PARTS, seed=10)
    at = table.index[(table["group"] == "random") & (table["phase"] == "retention")][::4]
    table["void"] = pd.Series(pd.NA, index=table.index, dtype="str")
    table.loc[at, "void"] = "slipped"
    table.loc[at, "radial_error"] *= 3
    table.loc[at, ["x", "y"]] *= 3
    return study(plan(ERROR, units={"length": "cm"}), table)


def three_groups():
    """Three groups, all of them compared."""
    groups = [*TWO[:1], {"name": "serial", "schedule": "serial"}, *TWO[1:]]
    table = trials(30, PARTS, groups=("blocked", "serial", "random"), seed=11)
    return study(plan(ERROR, groups=groups, units={"length": "cm"}), table)


def two_factors():
    """Order of practice by feedback, unequal cells, somebody lost; a main effect is primary."""
    factors = [
        {"name": "order", "levels": ["blocked", "random"], "label": "order of practice"},
        {"name": "aid", "levels": ["always", "faded"], "label": "feedback"},
    ]
    cells = ("blocked-always", "blocked-faded", "random-always", "random-faded")
    table = trials(26, PARTS, groups=cells, seed=17, effect=-0.3)
    table = table[~((table["participant"] == "P06") & (table["phase"] == "retention"))]
    content = plan(ERROR, factors=factors, groups=None, units={"length": "cm"})
    content["primary"] = {"outcome": "radial_error", "phase": "retention", "factors": ["order"]}
    content["smallest_effect"] = {"value": 0.5, "unit": "sd", "reason": "what a coach would see"}
    return study(content, table)


def pilot():
    """One person in each group."""
    return study(plan(ERROR, units={"length": "cm"}), trials(2, PARTS, seed=12))


def no_retention_in_a_group():
    """A group of which nobody came to the retention test."""
    table = trials(16, PARTS, seed=13)
    gone = (table["group"] == "random") & (table["phase"] == "retention")
    return study(plan(ERROR, units={"length": "cm"}), table[~gone])


def constant():
    """Everybody hits every time."""
    table = trials(12, PARTS, seed=14).assign(hit=1)
    return study(plan(HITS), table, "hit")


def after_the_pretest():
    """The study while it runs: only the pretest has been made."""
    return study(plan(ERROR, units={"length": "cm"}), trials(16, PARTS[:1], seed=15))


def before_the_last_test():
    """Practice is over, the retention test is still to come."""
    return study(plan(HITS), counted(trials(16, PARTS[:-1], seed=16)))


def classes(per_group=6):
    """Two groups of whole classes of unequal size that were allocated; somebody missed a test."""
    rng = np.random.default_rng(21)
    sizes = [6, 3, 4, 5, 3, 7, 4, 4, 5, 3, 6, 4][: 2 * per_group]
    table = trials(sum(sizes), PARTS, seed=21, groups=("all",))
    place = table["participant"].str[1:].astype(int) - 1
    member = np.repeat(np.arange(len(sizes)), sizes)[place]
    shift = np.exp(rng.normal(0, 0.2, len(sizes)))[member]
    table = table.assign(
        group=np.array(["blocked", "random"])[member % 2],
        radial_error=(table["radial_error"] * shift).round(2),
    )
    table.insert(2, "class", [f"class {number + 1:02d}" for number in member])
    gone = (table["participant"] == "P05") & (table["phase"] == "retention")
    way = {"unit": "class", "method": "cluster", "seed": 4}
    return study(plan(ERROR, allocation=way, units={"length": "cm"}), table[~gone], "radial_error")


def crossover():
    """Each person practises blocked and random in two periods; one missed the second period."""
    halves = [
        trials(14, PARTS, groups=order, seed=31 + place, effect=-0.1)
        for place, order in enumerate((("blocked", "random"), ("random", "blocked")))
    ]
    table = pd.concat(
        [half.assign(period=place) for place, half in enumerate(halves, start=1)],
        ignore_index=True,
    )
    gone = (table["participant"] == "P04") & (table["period"] == 2)
    way = {"by": "period", "washout_days": 14}
    content = plan(ERROR, within=way, units={"length": "cm"})
    return study(content, table[~gone].reset_index(drop=True), "radial_error")


def presets(name):
    """The plan of the shipped study with another truth."""
    return ml.simulate_study(ml.read_design(SHIPPED), seed=11, preset=name)


def errors_and_exclusions():
    """Two errors with targets of their own; a person out of the tests; replaced values."""
    table = trials(16, PARTS, seed=17)
    goal = np.where(table["phase"] == "retention", 60, 40)
    table["angle"] = (goal + table["x"]).round(1)
    table["reached"] = (225 + 3 * table["y"]).round(0)
    table.loc[(table["phase"] == "pretest") & (table["trial"] == 3), "reached"] = 999.0
    outcomes = [
        {
            "name": "aim", "unit": "deg", "better": "lower", "column": "angle", "target": 40,
            "targets": {"retention": 60}, "measure": "total_error",
        },
        {
            "name": "timing", "unit": "ms", "better": "lower", "column": "reached", "target": 225,
            "measure": "absolute_error",
        },
    ]  # fmt: skip
    content = plan(
        outcomes,
        exclusions=[
            {
                "rule": "P03 was told the target", "participants": ["P03"], "phases": ["tests"],
                "reason": "was told the target before the tests",
            },
        ],
        replacements=[
            {"column": "reached", "equals": 999, "take": "largest", "reason": "clock stopped"},
            {"column": "angle", "above": 110, "value": 110, "reason": "edge of the floor"},
        ],
    )  # fmt: skip
    recorded = study(content, table[[*list(table)[:6], "angle", "reached"]])
    with tempfile.TemporaryDirectory() as folder:
        return replace(ml.read_study(write(recorded, Path(folder))), folder=None)


def sessions_of(people, conditions, *, trials=5, effect=6.0, seed=17):
    """Trials of athletes whose sessions each had a condition; ``cue`` brings the ring nearer."""
    rng = np.random.default_rng(seed)
    frames = []
    for person, row in zip(people, conditions):
        for session, condition in enumerate(row, start=1):
            error = 20 + rng.normal(0, 1.5) - effect * (condition == "cue")
            frames.append(
                pd.DataFrame(
                    {
                        "participant": person,
                        "session": session,
                        "trial": np.arange(1, trials + 1),
                        "condition": condition,
                        "radial_error": (error + rng.normal(0, 3, trials)).clip(0.5).round(1),
                    }
                )
            )
    return pd.concat(frames, ignore_index=True)


def cases(sessions, **more):
    """A plan of a single case with the conditions ``baseline`` and ``cue``."""
    single = {"conditions": ["baseline", "cue"], "sessions": sessions, "trials": 5, **more}
    return {
        "study": {"title": "Ring push of one", "seed": 1},
        "single_case": single,
        "outcomes": [ERROR],
        "units": {"length": "cm"},
    }


def phases_of(*lengths):
    """Conditions of a row of phases, A first."""
    return [("baseline", "cue")[n % 2] for n, length in enumerate(lengths) for _ in range(length)]


def one_athlete():
    """One athlete, 18 sessions, A and then B from a session drawn by lot."""
    table = sessions_of(["P01"], [phases_of(8, 10)])
    return study(cases(18, design="AB", starts=[6, 13]), table)


def three_athletes():
    """Three athletes in a multiple baseline whose order was drawn by lot."""
    people = ["P01", "P02", "P03"]
    rows = [phases_of(8, 10), phases_of(5, 13), phases_of(12, 6)]
    starts = [[5, 7], [8, 10], [11, 13]]
    table = sessions_of(people, rows, seed=18)
    return study(cases(18, design="multiple baseline", starts=starts), table)


def one_athlete_alternating():
    """One athlete whose conditions alternate in pairs of sessions."""
    row = [c for pair in ["ab", "ba", "ba", "ab", "ba", "ab", "ab", "ba"] for c in pair]
    row = ["baseline" if c == "a" else "cue" for c in row]
    return study(cases(16, design="alternating"), sessions_of(["P01"], [row], seed=19))


COMPUTED = {
    "ring push": lambda: ml.read_study(SHIPPED),
    "null": lambda: presets("null"),
    "mean radial error": mean_error,
    "hits, one group": hits_one_group,
    "hits of trials": hits_of_trials,
    "hits of attempts": hits_of_attempts,
    "hit rates": hit_rates,
    "plain hits": plain_hits,
    "time": timed_task,
    "scatter": scatter,
    "two transfers": two_transfers,
    "voids": voids,
    "three groups": three_groups,
    "two factors": two_factors,
    "errors and exclusions": errors_and_exclusions,
    "one athlete": one_athlete,
    "three athletes": three_athletes,
    "one athlete alternating": one_athlete_alternating,
    "classes": classes,
    "crossover": crossover,
}
"""Studies that have a primary answer."""

REFUSED = {
    "pilot": pilot,
    "a group without retention": no_retention_in_a_group,
    "constant": constant,
    "after the pretest": after_the_pretest,
    "before the last test": before_the_last_test,
}
"""Studies whose primary comparison cannot be computed; everything else goes on."""


def write(found: Study, folder: Path) -> Path:
    """Put a study into a folder: its plan as TOML, its trials as CSV."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "study.toml").write_text(plan_text(found.design), encoding="utf-8")
    recorded = ml.trials.as_recorded(found).trials.table
    recorded.to_csv(folder / "trials.csv", index=False)
    return folder


def plan_text(design) -> str:
    """A plan written out as TOML: the sections that these studies use."""
    content = design.model_dump(exclude_unset=True, exclude_none=True, by_alias=True)
    lines: list[str] = []
    for name, section in content.items():
        for entry in section if isinstance(section, list | tuple) else [section]:
            lines.append(f"[[{name}]]" if isinstance(section, list | tuple) else f"[{name}]")
            lines += [f"{key} = {written(value)}" for key, value in entry.items()]
    return "\n".join(lines) + "\n"


def written(value) -> str:
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {written(entry)}" for key, entry in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(written(entry) for entry in value) + "]"
    return str(value).lower() if isinstance(value, bool) else str(value)
