"""What is typed of outlets and ducts, at first and when they are amended: outlets.csv, amendments.csv."""

from calib.errors import Step
from calib.procedures.typed.cells import (
    AIR_DENSITY,
    above_zero,
    any_text,
    not_negative,
    one_of,
    unit_check,
    usually,
    whole,
)
from calib.procedures.typed.declaration import Declaration, Reference, may, must
from calib.procedures.typed.declared.jobs import LIMITS_OF_A_FLOW, OF_JOB
from calib.records.tables.outlets import Outlet, OutletRevision
from calib.records.words import PLACES, SERVICES, SHAPES

AT_OUTLET = Reference(("job", "outlet"), Outlet, "an outlet of job {job} in outlets.csv or in the records", "outlet_id")
_OF_AN_OUTLET = (
    must("job", any_text, "the job"),
    must("outlet", any_text, "name of the outlet or of the duct's section"),
    must("system", any_text, "the system that it belongs to"),
    must("service", one_of(*SERVICES), "what the air does there"),
    may("place", one_of(*PLACES), "what is measured; blank: an outlet"),
    may(
        "in_totals",
        one_of("yes", "no"),
        "whether it counts in the totals; blank: outlets do, ducts where their system has no outlet of that service",
    ),
    may("room", any_text, "the room that it serves"),
    may("outlet_type", any_text, "the type of outlet"),
    may("shape", one_of(*SHAPES), "shape of the opening or of the section"),
    may("width", above_zero, "width, of a flat-oval section the longer axis"),
    may("height", above_zero, "height"),
    may("diameter", above_zero, "diameter of a round one"),
    may("dimension_unit", unit_check("length"), "the unit of the dimensions"),
    may(
        "dimension_limit",
        not_negative,
        "half-width within which the dimensions are known; needed with dimensions",
    ),
    may(
        "outlet_factor",
        above_zero,
        "what the face velocity times the area is multiplied by",
        odd=usually(0.4, 1.2, "an outlet factor"),
    ),
    may("outlet_factor_standard_uncertainty", not_negative, "standard uncertainty of the outlet factor"),
    may("outlet_factor_source", any_text, "where the outlet factor or the effective area comes from"),
    may("outlet_factor_reason", any_text, "why a factor above 1.2 is right"),
    may("effective_area", above_zero, "area that the velocity is multiplied by, instead of dimensions and factor"),
    may("effective_area_unit", unit_check("area"), "the unit of the effective area"),
    may("effective_area_standard_uncertainty", not_negative, "standard uncertainty of the effective area"),
    may("found_factor", any_text, "name of a factor found in the field, instead of an outlet factor"),
    may("design_flow", above_zero, "the flow that it was designed for"),
    may("flow_unit", unit_check("volume flow"), "the unit of the design flow"),
    *LIMITS_OF_A_FLOW,
    may(
        "design_density_kg_per_m3",
        AIR_DENSITY,
        "density of the air in which the design flow is stated; blank: as measured, in the air that is there",
    ),
)
OUTLETS_CSV = Declaration(
    "outlets.csv",
    "outlets and measuring sections of ducts: an outlet has a shape, dimensions and an outlet factor or found factor, or an "
    "effective area, or none of these where only a hood measures it; a duct has a shape and no factor",
    Outlet,
    _OF_AN_OUTLET,
    key=("job", "outlet"),
    references=(OF_JOB,),
)
AMENDMENTS_CSV = Declaration(
    "amendments.csv",
    "outlets as they were amended, each time the whole of one",
    OutletRevision,
    (
        *_OF_AN_OUTLET,
        must("revision", whole, "revision of the outlet; as first typed it is 1"),
        must("reason", any_text, "what was wrong"),
    ),
    key=("job", "outlet", "revision"),
    references=(
        Reference(
            ("job", "outlet"),
            Outlet,
            f"an outlet in outlets.csv; one on record is {Step.AMEND_OUTLET}",
            "outlet_id",
            here=True,
        ),
    ),
)
