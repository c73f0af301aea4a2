"""What the generator of invented studies assumes, and the named sets of assumptions.

The values describe invented adults pushing a rubber ring; they are teaching material and no
estimate from data. Lengths are in centimetres.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from motorlearn.exceptions import InputError

_LABORATORY: Final = {
    "acquisition": {"serial": 0.07, "random": 0.12},
    "progress": {"serial": 0.07, "random": 0.12},
    "posttest": {"serial": -0.02, "random": -0.01},
    "retention": {"serial": -0.08, "random": -0.13},
    "transfer": {"serial": -0.07, "random": -0.12},
}


@dataclass(frozen=True)
class Preset:
    """Parameters of the generator; ``log_sd`` means the logarithm of the landing spread in cm.

    Parameters
    ----------
    name : str
        Name of the set.
    shifts : mapping of phase to mapping of schedule to float
        Effect of a practice schedule on ``log_sd``, against blocked practice; absent ones are 0.
    log_sd, log_sd_between : float
        Mean of the final spread over people, and its standard deviation between people.
    experience : float
        Half the difference in ``log_sd`` between people without and with experience.
    gain_median, gain_log_sd : float
        What practice can take off ``log_sd``: lognormal over people.
    rate_median, rate_log_sd : float
        Rate of improvement per practice trial of the same task: lognormal over people.
    task_difficulty : tuple of float
        Added to ``log_sd`` by task, in the order of the plan, repeated where there are more tasks.
    bias_x, bias_y : tuple of float
        Mean and standard deviation between people of the aiming bias, in cm.
    bias_share : mapping of phase to float
        Share of the bias that is left in each phase.
    forgetting_immediate, forgetting_delayed, forgetting_sd : float
        Share of the improvement lost straight after practice, and seven days later.
    transfer_cost, warm_up, restart : float
        Added to ``log_sd`` in transfer, at the start of a test, at the start of a further session.
    aspect : float
        Sideways spread as a share of the spread in the direction of the push.
    serial_correlation : float
        First-order autocorrelation of successive trials.
    mishit_share, mishit_factor : float
        How often a trial is a gross mis-hit, and by how much its spread grows.
    baseline_imbalance : float
        Added to ``log_sd`` of the last group, in every phase: unlucky allocation.
    """

    name: str
    shifts: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    log_sd: float = math.log(15.5)
    log_sd_between: float = 0.20
    experience: float = 0.08
    gain_median: float = 0.62
    gain_log_sd: float = 0.25
    rate_median: float = 0.030
    rate_log_sd: float = 0.5
    task_difficulty: tuple[float, ...] = (0.0, 0.18, 0.10)
    bias_x: tuple[float, float] = (0.0, 4.0)
    bias_y: tuple[float, float] = (-3.0, 6.0)
    bias_share: Mapping[str, float] = field(
        default_factory=lambda: {
            "pretest": 1.0,
            "acquisition": 0.6,
            "progress": 0.5,
            "posttest": 0.4,
            "retention": 0.5,
            "transfer": 0.7,
        }
    )
    forgetting_immediate: float = 0.05
    forgetting_delayed: float = 0.35
    forgetting_sd: float = 0.12
    transfer_cost: float = 0.15
    warm_up: float = 0.12
    restart: float = 0.10
    aspect: float = 0.75
    serial_correlation: float = 0.15
    mishit_share: float = 0.005
    mishit_factor: float = 3.0
    baseline_imbalance: float = 0.0

    def shift(self, phase: str, schedule: str) -> float:
        """Effect of a schedule on the log spread in a phase, against blocked practice."""
        return self.shifts.get(phase, {}).get(schedule, 0.0)


_laboratory = Preset("laboratory", _LABORATORY)

PRESETS: Final = {
    preset.name: preset
    for preset in (
        _laboratory,
        Preset("null"),
        Preset(
            "applied",
            {
                **{phase: _LABORATORY[phase] for phase in ("acquisition", "progress")},
                "retention": {"serial": -0.03, "random": -0.05},
                "transfer": {"serial": -0.03, "random": -0.05},
            },
        ),
        replace(_laboratory, name="spread-rates", rate_median=0.10, rate_log_sd=1.3),
        replace(_laboratory, name="imbalance", baseline_imbalance=0.06),
    )
}
"""``laboratory`` (the reversal of practice and retention), ``null`` (schedules do not matter),
``applied`` (a small effect), ``spread-rates`` (rates differ widely between people, for the trap of
averaging curves) and ``imbalance`` (the last group starts about 0.3 standard deviations worse)."""


def find_preset(preset: str | Preset) -> Preset:
    """Give a named preset, or the one that was given.

    Raises
    ------
    InputError
        If there is no preset of that name.
    """
    if isinstance(preset, Preset):
        return preset
    if preset not in PRESETS:
        raise InputError("there is no such preset", [preset], f"choose one of {', '.join(PRESETS)}")
    return PRESETS[preset]
