"""Who could take part and when practice stops, as the plan says it."""

from motorlearn.design import Design, Sample
from motorlearn.digits import count, plain
from motorlearn.wording.tense import told
from motorlearn.wording.voice import listed


def eligibility_paragraph(design: Design) -> str:
    """Who could take part; empty where the plan does not say it.

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> plan = {"study": {"title": "Ring push"}, "groups": [{"name": "all"}],
    ...         "sample": {"age_low": 18, "include": ["new to the task"], "exclude": ["pain"]},
    ...         "tests": [{"phase": "pretest", "trials": 20}],
    ...         "outcomes": [{"name": "hits", "better": "higher"}]}
    >>> eligibility_paragraph(design_from_mapping(plan))
    'People could take part from 18 years of age who met: new to the task; not with: pain.'
    """
    sample = design.sample
    said = "".join([_ages(sample), _met(sample), _barred(sample)])
    return f"People {told('could', 'can')} take part{said}." if said else ""


def _ages(sample: Sample) -> str:
    low, high = sample.age_low, sample.age_high
    if low is not None and high is not None:
        return f" from {plain(low)} to {plain(high)} years of age"
    if low is not None:
        return f" from {plain(low)} years of age"
    return f" up to {plain(high)} years of age" if high is not None else ""


def _met(sample: Sample) -> str:
    return f" who met: {'; '.join(sample.include)}" if sample.include else ""


def _barred(sample: Sample) -> str:
    if not sample.exclude:
        return ""
    comma = ";" if sample.include else ","
    return f"{comma} not with: {'; '.join(sample.exclude)}"


def frame_paragraph(design: Design) -> str:
    """Weeks, sessions, place and supervision of a programme; empty where there is none."""
    frame = design.programme
    if frame is None:
        return ""
    session = (
        [f"{plain(frame.minutes_per_session)} minutes each"] if frame.minutes_per_session else []
    )
    if frame.warm_up_trials:
        session.append(f"{frame.warm_up_trials} warm-up trials first")
    more = f" ({listed(session)})" if session else ""
    place = f" Place: {frame.place}." if frame.place else ""
    watched = f" Supervision: {frame.supervision.rstrip('.')}." if frame.supervision else ""
    return (
        f"The programme {told('took', 'will take')} {count(frame.weeks, 'week')} with "
        f"{count(frame.sessions_per_week, 'session')} a week"
        f"{more}.{place}{watched}"
    )


def stopping_paragraph(design: Design) -> str:
    """When a trial, a session or the study was to stop; empty where the plan does not say it."""
    rules = [rule.rule + (f" ({rule.action})" if rule.action else "") for rule in design.stopping]
    return f"Stopping rules decided beforehand: {'; '.join(rules)}." if rules else ""
