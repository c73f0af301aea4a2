"""What an axis says of an outcome, which texts say too."""

from motorlearn.design import Outcome


def outcome_label(outcome: Outcome) -> str:
    """Axis label of an outcome: its name, its unit and which direction is better."""
    name = outcome.words
    unit = f" ({outcome.unit})" if outcome.unit else ""
    return f"{name}{unit}, {outcome.better} is better"
