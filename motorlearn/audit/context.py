"""What a check may know beside the result: thresholds, the plan, the study, and how far to go."""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field

from motorlearn.audit.guides import GUIDES, Guide
from motorlearn.design import Design, Primary, joint_term, own_name_of_test, primary_levels
from motorlearn.trials import Study


@dataclass(frozen=True)
class Context:
    """Surroundings of an audit.

    Parameters
    ----------
    guides : mapping of str to Guide
        Thresholds in force.
    design : Design or None
        The plan, where it is known.
    study : Study or None
        The whole study, where it is known.
    remedies : bool
        Whether remedies are run beside the original.
    seed : int
        Seed of whatever is simulated.
    simulations : int
        How many data sets are simulated or resampled.
    """

    guides: Mapping[str, Guide] = field(default_factory=lambda: dict(GUIDES))
    design: Design | None = None
    study: Study | None = None
    remedies: bool = True
    seed: int = 0
    simulations: int = 1000

    @property
    def primary(self) -> Primary | None:
        """The primary comparison that the plan declares."""
        return None if self.design is None else self.design.primary

    @property
    def joint_term(self) -> str:
        """Term of the primary effect where one F test of several numbers is planned; else empty."""
        return "" if self.design is None else joint_term(self.design)

    @property
    def primary_levels(self) -> tuple[str, str]:
        """Level and reference of the primary main effect; empty names where none is planned."""
        return (self.design and primary_levels(self.design)) or ("", "")

    def words_of(self, factor: str) -> str:
        """A factor of the plan as a reader calls it."""
        known = () if self.design is None else self.design.factors
        return next((one.words for one in known if one.name == factor), factor)

    def name_of(self, phase: Hashable) -> str:
        """A test as a reader knows it: by its own name where its phase is given more than once."""
        return str(phase) if self.design is None else own_name_of_test(self.design, str(phase))

    def guide(self, name: str) -> Guide:
        """Threshold by name."""
        return self.guides[name]
