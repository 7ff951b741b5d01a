"""Moist air by CoolProp, whose library takes a second to load: it does where it is asked, not in every process that has tests."""


def humid_air(wanted, *state):
    """A property of moist air [SI units], by three others; all by CoolProp's names for them."""
    from CoolProp.HumidAirProp import HAPropsSI

    return HAPropsSI(wanted, *state)
