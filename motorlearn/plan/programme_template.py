"""A commented plan of a practitioner's programme, in a scenario of our own."""

from importlib.resources import files as resources
from string import Template
from typing import Final

from motorlearn.plan.template import Answers, checked_plan, refuse_unusable, toml_text

_PLAN: Final = "programme_plan.toml"


def programme_text(answers: Answers) -> str:
    """Write the plan of a programme with one group as commented TOML.

    Title, people, trials of a test, days to the last test and seed come from the answers; skill,
    drills and checklist are an example to be replaced by one's own.

    Raises
    ------
    InputError
        If an answer cannot stand in a plan.

    Examples
    --------
    >>> plan = programme_text(Answers(title="Ring push", size=14, test_trials=20))
    >>> sum(bool(line.strip()) and not line.startswith("#") for line in plan.splitlines()) <= 60
    True
    """
    refuse_unusable(answers)
    text = resources("motorlearn.plan").joinpath(_PLAN).read_text(encoding="utf-8")
    written = Template(text).substitute(
        title=toml_text(answers.title),
        size=answers.size,
        trials=answers.test_trials,
        days=f"{answers.retention_days:g}",
        seed=answers.seed,
    )
    return checked_plan(written)
