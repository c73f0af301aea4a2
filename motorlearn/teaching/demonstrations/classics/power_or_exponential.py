"""Power or exponential: which form can be told from one learner's trials."""

from typing import Any

import numpy as np
import pandas as pd

from motorlearn import digits
from motorlearn.curves import fit_curve, fit_curves
from motorlearn.teaching.demonstrations.demonstration import check_settings
from motorlearn.teaching.demonstrations.illustration import (
    Illustration,
    estimates_of,
    series_of,
    share_of,
    share_words,
)
from motorlearn.teaching.demonstrations.lesson import Control, Lesson, Source, choose
from motorlearn.teaching.demonstrations.scene import Panel, Scene, mark

FORMS = ("exponential", "power")
TRUTHS = ("exponential", "power", "null")
_VOTES = (
    "almost always",
    "more often than not",
    "about as often as a coin",
    "there is no form to tell",
)


def power_or_exponential(
    *,
    truth: str = "exponential",
    trials: int = 40,
    noise: float = 3.0,
    learners: int = 200,
    seed: int = 1,
) -> Illustration:
    """Simulate learners of one form and see which form fits each of them better.

    Errors are ``20 + 15·exp(-0.12·(n - 1))`` or ``20 + 15·n^(-0.6)`` cm plus noise; under ``null``
    they do not fall at all. Both forms are fitted to each learner by
    :func:`motorlearn.curves.fit_curves` and compared by AICc.

    Parameters
    ----------
    truth : {"exponential", "power", "null"}
        Form that every learner follows.
    trials : int
        Trials of each learner, 10 to 200.
    noise : float
        Standard deviation of a single trial in cm, 0.1 to 20.
    learners : int
        Learners, 20 to 2000.
    seed : int
        Seed of the learners.

    Returns
    -------
    Illustration
        Share of learners for whom each form has the lower AICc.

    Raises
    ------
    InputError
        If a setting is outside its range or the form is unknown.

    Examples
    --------
    >>> shown = power_or_exponential(trials=100, noise=1.0)
    >>> bool(shown.estimates["estimate"][0] > 0.95)
    True
    """
    given = check_settings(
        {"trials": trials, "noise": noise, "learners": learners},
        {"trials": (10, 200), "noise": (0.1, 20), "learners": (20, 2000)},
    )
    n = np.arange(1.0, int(trials) + 1)
    falls = {"exponential": np.exp(-0.12 * (n - 1)), "power": n**-0.6, "null": np.zeros_like(n)}
    mean = 20 + 15 * choose(truth, falls)
    rng = np.random.default_rng(seed)
    scores = mean + noise * rng.standard_normal((int(learners), len(n)))
    return _result(n, scores, {"truth": truth, **given, "seed": seed})


def _result(n: np.ndarray, scores: np.ndarray, settings: dict[str, Any]) -> Illustration:
    table = pd.DataFrame(
        {
            "learner": np.repeat(np.arange(len(scores)), len(n)),
            "trial": np.tile(n, len(scores)),
            "score": scores.ravel(),
        }
    )
    best = fit_curves(table, "score", practice="trial", by="learner", forms=FORMS).preferred["best"]
    rows = estimates_of(
        [share_of(f"{form} preferred", int((best == form).sum()), len(scores)) for form in FORMS]
    )
    fits = [series_of(f, n, fit_curve(n, scores[0], form=f).fitted) for f in FORMS]
    series = pd.concat([series_of("one learner", n, scores[0]), *fits], ignore_index=True)
    said = "; ".join(f"{r['what']} in {share_words(r)}" for _, r in rows.iterrows())
    truth = (
        "nobody improves" if settings["truth"] == "null" else f"every learner: {settings['truth']}"
    )
    return Illustration(
        settings=settings,
        conclusion=f"Truth: {truth}; of {len(scores)} learners with {len(n)} trials: {said}.",
        text=f"Errors of one learner over {len(n)} trials with both fits, and the share of "
        f"learners that prefer each form. {said}. Noise of a trial "
        f"{digits.number(settings['noise'], 1)} cm.",
        series=series,
        estimates=rows,
        unit="",
    )


def _picture(shown: Illustration) -> Scene:
    one = shown.named("one learner")
    marks = [mark("dots", one["x"], one["y"], look=-2, name="one learner")]
    marks += [
        mark("line", rows["x"], rows["y"], name=f"{form} fit", look=look)
        for look, form in enumerate(FORMS)
        for rows in [shown.named(form)]
    ]
    e = shown.estimates
    bars = mark("bars", [1, 2], 100 * e["estimate"], low=100 * e["conf_low"],
                high=100 * e["conf_high"])  # fmt: skip
    panels = (
        Panel("Practice trial", "Error (cm)", (0, 122), (0, 50), tuple(marks), weight=1.7),
        Panel("", "Learners that prefer it (%)", (0.4, 2.6), (0, 100), (bars,), rules=(50,),
              ticks={1.0: "exponential", 2.0: "power"}),
    )  # fmt: skip
    return Scene(panels, "By AICc; dashed: half")


def _answer(shown: Illustration) -> str:
    truth = shown.settings["truth"]
    if truth not in FORMS:
        return _VOTES[3]
    share = shown.estimates["estimate"][FORMS.index(truth)]
    if share > 0.9:
        return _VOTES[0]
    return _VOTES[1] if share > 0.6 else _VOTES[2]


LESSON = Lesson(
    "power or exponential",
    "The form of one learner's curve",
    "Every learner follows one form ({truth}), with {trials} trials and a noise of {noise} cm. How "
    "often does that form fit the learner's own trials better than the other one?",
    _VOTES,
    (
        Control("truth", "What is true", "exponential", choices=TRUTHS),
        Control("trials", "Trials of each learner", 40, 10, 200, 5, page=(12, 20, 40, 80, 120)),
        Control("noise", "Noise of a trial (cm)", 3.0, 0.5, 10.0, 0.5, page=(0.5, 1.5, 3.0, 6.0)),
        Control("learners", "Learners", 200, 50, 500, 50),
    ),
    power_or_exponential,
    _picture,
    _answer,
    message="One learner's trials often cannot tell the forms apart, and their average tells the "
    "wrong one. Fit people, not averages, and say how sure the choice of form is.",
    contested="In 40 data sets without averaging the exponential fitted better than the power "
    "function; others hold that the course changes with strategy, and that neither form is a law.",
    null={"truth": "null"},
    sources=(
        Source("Heathcote, Brown & Mewhort (2000). The power law repealed: the case for an "
               "exponential law of practice. Psychonomic Bulletin & Review, 7, "
               "185-207.", "10.3758/BF03212979",
               "abstract"),
        Source("Newell & Rosenbloom (1981). Mechanisms of skill acquisition and the law of "
               "practice.",
               "", "from memory"),
    ),
    draws=1,
)  # fmt: skip
"""The lesson."""
