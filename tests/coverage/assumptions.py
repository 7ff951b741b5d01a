"""Under which assumptions worlds are drawn: those of the model, and some that are not."""

from tests.coverage.worlds import (
    ANOTHER_METER,
    COMMON,
    OWN,
    SAME_METER,
    SINGLE,
    SINGLE_FIGURE,
    Assumption,
    offset_and_opposite_gain,
    one_for_all,
    one_for_each_service,
    opposed,
    same_share_of_the_limit,
)

_SERVICES, _LIMIT = one_for_each_service(COMMON), same_share_of_the_limit
ASSUMPTIONS = (
    Assumption("errors as declared", True, _SERVICES, OWN, _LIMIT),
    Assumption("two passes", True, _SERVICES, OWN, _LIMIT, passes=2),
    Assumption("no repeatability on the certificate", True, _SERVICES, OWN, _LIMIT, states_repeatability=False),
    Assumption("the drift turns about mid range", True, _SERVICES, OWN, offset_and_opposite_gain),
    Assumption("logs of 300 values, correlation 0.5", True, _SERVICES, OWN, _LIMIT, logged=(300, 0.5)),
    Assumption("logs of 60 values, correlation 0.9", True, _SERVICES, OWN, _LIMIT, logged=(60, 0.9)),
    Assumption(
        "velocities of 0.75 to 1.3 m/s, compared from 0.6 m/s", True, _SERVICES, OWN, _LIMIT, velocities=(0.75, 1.3)
    ),
    Assumption(
        "traverses with 3 of 12 points near 0 Pa, compared from 2 Pa", True, _SERVICES, OWN, _LIMIT, traversed=True
    ),
    Assumption("temperatures declared, totals at 1.2 kg/m3", True, _SERVICES, OWN, _LIMIT, declares_air=True),
    Assumption("factors found with another meter", True, _SERVICES, OWN, _LIMIT, factor_by=ANOTHER_METER),
    Assumption("factors found with the same meter", True, _SERVICES, OWN, _LIMIT, factor_by=SAME_METER),
    Assumption("sharing not known: one for each service", True, one_for_each_service(SINGLE), 0, _LIMIT, SINGLE_FIGURE),
    Assumption("sharing not known: each by itself", True, one_for_each_service(0), SINGLE, _LIMIT, SINGLE_FIGURE),
    Assumption("sharing not known: one for all", True, one_for_all(SINGLE), 0, _LIMIT, SINGLE_FIGURE),
    Assumption("sharing not known: opposed", False, opposed(SINGLE), 0, _LIMIT, SINGLE_FIGURE),
)
