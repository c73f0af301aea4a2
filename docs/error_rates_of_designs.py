"""Rates where nothing is there: classes that were allocated, and conditions within people.

``.venv/bin/python docs/error_rates_of_designs.py 5000`` writes the tables of the page of rates
by the kernels that ``compare_phases`` is tested against; ``mixed 250`` its mixed routes, fitted;
``factors 1000`` two factors between people, through ``compare_phases``; ``joint 1000`` their F
tests of several degrees of freedom; ``scales 600`` the intervals of alpha and omega of a
questionnaire.
"""

import sys

import numpy as np
import pandas as pd
from scipy import stats

import motorlearn as ml
from motorlearn.compare.clusters import icc_limits
from motorlearn.linear.batch import ancova_batch, ancova_hypothesis_batch
from motorlearn.linear.by_group import joint_test_by_group
from motorlearn.linear.least_squares import fit_least_squares
from motorlearn.measures.questionnaires.reliability import (
    cronbach_alpha,
    omega_total,
    one_factor,
)
from motorlearn.mixed.fit import fit_mixed
from motorlearn.mixed.inference.degrees_of_freedom import degrees_of_freedom
from motorlearn.mixed.refitting import options_of
from motorlearn.mixed.solving import infer, solve


def say(*parts):
    *where, rates = parts
    told = ", ".join(f"{name} {100 * value:.1f} %" for name, value in dict(rates).items())
    sys.stdout.write(" ".join(map(str, where)) + f": {told}\n")
    sys.stdout.flush()


def of_classes(simulations, classes, icc):
    """Class means of 8 to 30 people at a pretest and a test; people of one class resemble."""
    rng = np.random.default_rng([classes, int(100 * icc)])
    shape = (simulations, 2 * classes)
    size = rng.integers(8, 31, shape)
    codes = np.arange(2 * classes) % 2

    def part(share):
        return rng.standard_normal(shape) * np.sqrt(share * (1 - icc) / size)

    shared, own = np.sqrt(icc) * rng.standard_normal(shape), part(0.6)
    x, y = shared + own + part(0.4), shared + own + part(0.4)
    plain, adjusted = ancova_batch(y, codes), ancova_batch(y, codes, x)
    df = 2 * classes - 2, size.sum(axis=1) - 2 * classes
    inside = (1 - icc) * rng.chisquare(df[1])
    weights = [np.where(codes == code, size, 0) for code in (0, 1)]
    means = [(w * y).sum(axis=1) / w.sum(axis=1) for w in weights]
    between = sum((w * (y - m[:, None]) ** 2).sum(axis=1) for w, m in zip(weights, means))
    n0 = sum(w.sum(axis=1) - (w**2).sum(axis=1) / w.sum(axis=1) for w in weights) / df[0]
    low, high = icc_limits(between / df[0] / (inside / df[1]), df, n0)
    people = size.sum(axis=1) - 2
    error = np.sqrt((between + inside) / people * sum(1 / w.sum(axis=1) for w in weights))
    p = 2 * stats.t.sf(np.abs(means[1] - means[0]) / error, people)
    return {
        "class means": np.mean(plain.p < 0.05), "adjusted": np.mean(adjusted.p < 0.05),
        "people": np.mean(p < 0.05), "ICC in its interval": np.mean((low <= icc) & (icc <= high)),
    }  # fmt: skip


def within_people(simulations, people, missed):
    """Two conditions without a difference in two periods with one; some miss the second period."""
    rng = np.random.default_rng([people, int(100 * missed)])
    order = np.arange(people) % 2
    own = rng.normal(0, 4, (simulations, people))

    def scores():
        first, second = (own + rng.normal(0, 2.5, own.shape) - 4 * place for place in (1, 2))
        second = np.where(gone, np.nan, second)
        return np.where(order, second - first, first - second), first + second

    gone = rng.random(own.shape) < missed
    (x, _), (y, total) = scores(), scores()
    turn = 1 - 2 * order
    plain = ancova_batch(y * turn, order, weights=[0.5, -0.5])
    adjusted = ancova_batch(y * turn, order, x * turn, weights=[0.5, -0.5])
    carried = ancova_batch(total, order)
    # The two-stage procedure: the first period alone where the sequences differ at 10 %.
    alone = ancova_batch((total + np.where(order, -y, y)) / 2, order)
    gated = np.where(carried.p < 0.1, alone.p, plain.p)
    return {
        "differences": np.mean(plain.p < 0.05), "adjusted": np.mean(adjusted.p < 0.05),
        "carry-over": np.mean(carried.p < 0.05), "gated by carry-over": np.mean(gated < 0.05),
    }  # fmt: skip


def fitted(simulations):
    """The mixed routes: the models of ``compare_phases(…, route="mixed")``, refitted to draws.

    One in twenty studies also goes through ``compare_phases`` and has to have the same p.
    """
    for people, missed in ((8, 0.0), (8, 0.2), (12, 0.0), (12, 0.2), (24, 0.2)):
        rng = np.random.default_rng([people, int(10 * missed)])
        say(
            "within people, mixed",
            people,
            missed,
            refitted(rng, simulations, crossover(people, missed)),
        )
    for classes, icc in ((3, 0.05), (3, 0.2), (6, 0.05), (6, 0.2), (10, 0.05), (10, 0.2)):
        rng = np.random.default_rng([classes, int(100 * icc)])
        say("classes, mixed", classes, icc, refitted(rng, simulations, classes_of(classes, icc)))


def refitted(rng, simulations, design):
    """Rejections and coverage of the effect of ``cell``, zero in truth, over draws of designs."""
    p = []
    for _ in range(max(simulations // 20, 1)):
        rows, formula, unit, draw, front = design(rng)
        fit = fit_mixed(formula, rows, random={unit: "1"}, df="kenward-roger")
        options, place = (
            options_of(fit),
            [t.startswith("cell") for t in fit.estimates["term"]].index(True),
        )
        assert abs(front(rows) - fit.estimates["p"][place]) < 1e-6
        for _ in range(20):
            y = draw(rng)[fit.design.row]
            solution = solve(fit.design, y, options)
            found = infer(fit.design, y, solution, options)
            one = np.eye(len(fit.beta))[place]
            t = solution.beta[place] / np.sqrt(found.vcov[place, place])
            p.append(2 * stats.t.sf(abs(t), degrees_of_freedom(one, found)))
    return {"rate": np.mean(np.array(p) < 0.05)}


def crossover(people, missed):
    def design(rng):
        place = np.tile([1, 2], people)
        person = np.repeat(np.arange(people), 2)
        kept = (place == 1) | (rng.random(2 * people) >= missed)
        place, person = place[kept], person[kept]
        condition = np.array(["blocked", "random"])[(place + person) % 2]

        def draw(rng):
            own = rng.normal(0, 4, people)[person]
            return 38 + own - 4 * place + rng.normal(0, 2.5, len(person))

        def front(rows):
            table = pd.DataFrame(
                {"participant": rows["person"], "condition": condition, "period": place,
                 "phase": "retention", "radial_error": rows["score"]}
            )  # fmt: skip
            return ml.compare_phases(
                table, "radial_error", group=None, within="condition", period="period",
                route="mixed",
            ).mixed["p"].iloc[0]  # fmt: skip

        rows = pd.DataFrame(
            {"person": [f"P{i:02d}" for i in person], "cell": condition,
             "place": [f"p{i}" for i in place], "sequence": [f"s{i % 2}" for i in person],
             "score": draw(rng)}
        )  # fmt: skip
        return rows, "score ~ cell + place + sequence", "person", draw, front

    return design


def classes_of(classes, icc):
    def design(rng):
        member = np.repeat(np.arange(2 * classes), rng.integers(8, 31, 2 * classes))
        group = np.array(["blocked", "random"])[member % 2]

        def draw(rng):
            shared = np.sqrt(icc) * rng.standard_normal(2 * classes)[member]
            return shared + np.sqrt(1 - icc) * rng.standard_normal(len(member))

        def front(rows):
            table = pd.DataFrame(
                {"class": member, "participant": np.arange(len(member)), "group": group,
                 "phase": "retention", "radial_error": rows["score"]}
            )  # fmt: skip
            return ml.compare_phases(
                table, "radial_error", group="group", unit="class", route="mixed"
            ).mixed["p"].iloc[0]  # fmt: skip

        rows = pd.DataFrame(
            {"unit": [f"c{i:02d}" for i in member], "cell": group, "score": draw(rng)}
        )
        return rows, "score ~ cell", "unit", draw, front

    return design


CELLS = [(order, aid) for order in ("blocked", "random") for aid in ("none", "words")]
DESIGNS = {
    "10 a cell": ((10, 10, 10, 10), (1, 1, 1, 1), 0.0),
    "8, 12, 10, 14; 15 % missing": ((8, 12, 10, 14), (1, 1, 1, 1), 0.15),
    "6 a cell; 15 % missing": ((6, 6, 6, 6), (1, 1, 1, 1), 0.15),
    "8, 12, 10, 14; the last twice as wide": ((8, 12, 10, 14), (1, 1, 1, 2), 0.15),
    "14, 12, 10, 8; the last twice as wide": ((14, 12, 10, 8), (1, 1, 1, 2), 0.15),
}


def of_factors(simulations):
    """Two factors without an effect at three tests that correlate by .5."""
    for name, (sizes, sds, missing) in DESIGNS.items():
        rng = np.random.default_rng(sum(sizes))
        found = [_factors(rng, sizes, sds, missing) for _ in range(simulations)]
        say("factors", name, dict((pd.DataFrame(found) < 0.05).mean()))


def _factors(rng, sizes, sds, missing):
    member = np.repeat(np.arange(4), sizes)
    own = rng.normal(size=(len(member), 1)) + rng.normal(size=(len(member), 3))
    scores = 40 + np.array(sds)[member][:, None] * own
    gone = rng.random(len(member)) < missing
    rows = [
        (f"P{i:02d}", *CELLS[member[i]], test, scores[i, place])
        for i in range(len(member))
        for place, test in enumerate(("pretest", "posttest", "retention"))
        if not (gone[i] and place == 2)
    ]
    names = ["participant", "order", "aid", "phase", "radial_error"]
    found = ml.compare_phases(
        pd.DataFrame(rows, columns=names), "radial_error", group=["order", "aid"],
        baseline="pretest",
    )  # fmt: skip
    late = found.effects[found.effects["phase"] == "retention"].set_index("term")
    wanted = {}
    for adjusted, said in ((False, "cell means"), (True, "adjusted")):
        part = late[(late["adjusted"] == adjusted) & (late["kind"] != "simple effect")]["p"]
        wanted |= {f"{said}, main": part["order"], f"{said}, interaction": part["order:aid"]}
    table = found.anova.set_index("term")
    wanted["order over tests"] = table.loc["order", "p"]
    return wanted | {"interaction by tests": table.loc["order:aid:phase", "p_gg"]}


SIX = [(order, aid) for order in ("blocked", "random") for aid in ("none", "words", "film")]
_STEPS, _AID = np.array([[-1, 1]]), np.array([[-1, 1, 0], [-1, 0, 1]])
SIX_TERMS = {"aid": np.kron([[0.5, 0.5]], _AID), "order:aid": np.kron(_STEPS, _AID)}
JOINT = {
    "6 a cell": ((6,) * 6, (1,) * 6),
    "9, 6, 7, 5, 8, 6": ((9, 6, 7, 5, 8, 6), (1,) * 6),
    "9, 6, 7, 5, 8, 6; the smallest cell twice as wide": ((9, 6, 7, 5, 8, 6), (1, 1, 1, 2, 1, 1)),
    "12 a cell; one cell twice as wide": ((12,) * 6, (1, 1, 1, 1, 1, 2)),
}


def of_joint_tests(simulations):
    """Interaction and main effect of 2 by 3 cells, each one F test, at a test after a pretest.

    By the kernels of ``compare_phases``; one study in a hundred goes through it too.
    """
    for name, (sizes, sds) in JOINT.items():
        rng, member = np.random.default_rng(sum(sizes)), np.repeat(np.arange(6), sizes)
        own = rng.normal(size=(2, simulations, len(member))) + rng.normal(
            size=(simulations, len(member))
        )
        x, y = 40 + np.array(sds)[member] * own
        found = [_joint(y[i], x[i], member, SIX_TERMS) for i in range(simulations)]
        for term, rows in SIX_TERMS.items():
            together = ancova_hypothesis_batch(y, member, rows, x)[2]
            for row, p in zip(found, together):
                row[f"adjusted, {term}"] = p
        for i in range(0, simulations, 100):
            _as_compared(y[i], x[i], member, found[i])
        say("joint tests", name, dict((pd.DataFrame(found) < 0.05).mean()))


def _joint(y, x, member, terms):
    """Tests of cell means and of adjusted cells, each cell with a variance of its own."""
    inside = np.eye(6)[member]
    plain = fit_least_squares(inside, y)
    both = fit_least_squares(np.column_stack([inside, x - x.mean()]), y)
    found = {}
    for term, rows in terms.items():
        wide = np.column_stack([rows, np.zeros(len(rows))])
        found[f"cell means, {term}"] = joint_test_by_group(plain, rows, member).p
        found[f"adjusted by group, {term}"] = joint_test_by_group(both, wide, member).p
    return found


def _as_compared(y, x, member, wanted):
    rows = pd.DataFrame(
        {
            "participant": np.tile([f"P{i:02d}" for i in range(len(y))], 2),
            "order": [SIX[m][0] for m in member] * 2,
            "aid": [SIX[m][1] for m in member] * 2,
            "phase": np.repeat(["pretest", "retention"], len(y)),
            "radial_error": np.concatenate([x, y]),
        }
    )
    rows["order"] = pd.Categorical(rows["order"], ["blocked", "random"])
    rows["aid"] = pd.Categorical(rows["aid"], ["none", "words", "film"])
    for variance, said in (("equal", "adjusted"), ("by group", "adjusted by group")):
        found = ml.compare_phases(
            rows, "radial_error", group=["order", "aid"], baseline="pretest", variance=variance
        )
        late = found.omnibus[found.omnibus["phase"] == "retention"]
        for term in SIX_TERMS:
            plain, adjusted = late.loc[late["term"] == term, "p"]
            assert abs(plain - wanted[f"cell means, {term}"]) < 1e-8
            assert abs(adjusted - wanted[f"{said}, {term}"]) < 1e-8


SCALES = {"3 items, loadings .7": [0.7] * 3, "5 items, .4 to .8": [0.4, 0.5, 0.6, 0.7, 0.8],
          "8 items, loadings .5": [0.5] * 8}  # fmt: skip


def of_scales(simulations, steps):
    """Answers of one factor, normal or in five steps of which most choose the upper ones."""
    for name, loadings in SCALES.items():
        exact = np.cov(_answers(np.random.default_rng(0), 400_000, loadings, steps).T)
        common, unique = one_factor(exact)
        omega = common.sum() ** 2 / (common.sum() ** 2 + unique.sum())
        k = len(loadings)
        alpha = k / (k - 1) * (1 - np.trace(exact) / exact.sum())
        for people in (20, 40, 100):
            rng = np.random.default_rng([people, k, steps])
            drawn = [_answers(rng, people, loadings, steps) for _ in range(simulations)]
            held = {
                "alpha": [_holds(cronbach_alpha(a), alpha) for a in drawn],
                "omega": [_holds(omega_total(a), omega) for a in drawn],
            }
            yield name, people, {key: np.nanmean(value) for key, value in held.items()}


def _answers(rng, people, loadings, steps):
    own = rng.normal(size=(people, 1)) * loadings
    scores = own + np.sqrt(1 - np.square(loadings)) * rng.normal(size=own.shape)
    return np.digitize(scores, (-2, -1.2, -0.4, 0.5)) + 1.0 if steps else scores


def _holds(found, truth):
    return np.nan if np.isnan(found.conf_low) else found.conf_low <= truth <= found.conf_high


def main(arguments):
    if arguments[:1] == ["scales"]:
        for steps in (False, True):
            for name, people, held in of_scales(int(arguments[1]), steps):
                say("scales", name, "steps" if steps else "normal", people, held)
        return
    if arguments[:1] == ["factors"]:
        of_factors(int(arguments[1]))
        return
    if arguments[:1] == ["joint"]:
        of_joint_tests(int(arguments[1]))
        return
    if arguments[:1] == ["mixed"]:
        fitted(int(arguments[1]))
        return
    simulations = int(arguments[0]) if arguments else 5000
    for classes in (3, 4, 6, 10):
        for icc in (0.05, 0.2):
            say("classes", classes, icc, of_classes(simulations, classes, icc))
    for people in (8, 12, 24):
        for missed in (0.0, 0.2):
            say("within people", people, missed, within_people(simulations, people, missed))


if __name__ == "__main__":
    main(sys.argv[1:])
