"""What a report says of the plan as it was registered."""

from motorlearn.plan.registered import (
    UNREGISTERED,
    PlanChange,
    plan_changes,
    registered_versions,
)
from motorlearn.report.view import StudyView
from motorlearn.wording import summary


def registered_and_now(found: StudyView) -> tuple[str, list[PlanChange]]:
    """When the plan was registered, in a sentence, and its changes; nothing where it was not."""
    versions = registered_versions(found.study.folder)
    if not versions:
        return "", []
    changes = plan_changes(versions, found.design)
    since = sum(change.date == UNREGISTERED for change in changes)
    days = [(version.date, version.recorded) for version in versions]
    return summary.registered_words(days, len(changes), since), changes
