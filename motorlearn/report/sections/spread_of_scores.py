"""How the scores of large groups are spread: a cloud where single points lie on one another."""

from collections.abc import Iterator

from motorlearn.compare import PhaseComparison
from motorlearn.figures import Drawing
from motorlearn.report.sections.exhibits import worded
from motorlearn.report.view import OutcomeView, StudyView
from motorlearn.report.writers.contents import Text, slug
from motorlearn.wording.clouds import cloud_words

MANY = 40
"""People of a group whose single points lie on one another (house rule)."""


def spread_of_scores(found: StudyView, entry: OutcomeView, stage: str) -> Iterator[Text | Drawing]:
    """The cloud of the primary outcome at its test, where a group is large."""
    figure = cloud_figure(found, entry, stage)
    if figure is not None:
        yield Text(f"{{fig:{figure.name}}} shows how the scores of each group are spread.")
        yield figure


def cloud_figure(found: StudyView, entry: OutcomeView, stage: str) -> Drawing | None:
    """Half a violin, a box and every participant of each group at one test."""
    if entry is not found.outcomes[0] or not isinstance(entry.comparison, PhaseComparison):
        return None
    scores = entry.comparison.scores
    scores = scores[(scores["phase"] == stage) & scores["score"].notna()]
    if scores.empty or scores.groupby("group", observed=True).size().max() < MANY:
        return None
    drawing = found.kept.draw(
        "raincloud",
        scores[["group", "score"]],
        ending=slug(entry.outcome.name),
        outcome=entry.outcome,
        groups=found.groups,
    )
    return worded(drawing, cloud_words(scores, found.groups, stage, entry.voice))
