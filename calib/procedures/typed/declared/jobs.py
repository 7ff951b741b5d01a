"""What is typed of jobs, and of their designs as a whole: jobs.csv, systems.csv, rooms.csv, air.csv."""

from datetime import date

from calib.confirmation.words import DECISION_RULES
from calib.procedures.typed.cells import (
    AIR_DENSITY,
    AIR_TEMPERATURE,
    above_zero,
    any_text,
    day,
    one_of,
    percent,
    share,
    unit_check,
    usually,
    whole,
)
from calib.procedures.typed.declaration import Declaration, Reference, may, must
from calib.procedures.typed.declared.taken_back import how_often_typed, why_taken_back
from calib.records.tables.jobs import DeclaredAir, Job, JobRevision, Room, SystemDesign
from calib.records.words import SERVICES

A_JOB = "a job in jobs.csv or in the records"
OF_JOB = Reference(("job",), Job, A_JOB, "job_id")
_OF_A_JOB = (
    must("job", any_text, "number of the job"),
    may("title", any_text, "what the job is"),
    may("site", any_text, "where it is"),
    may("client", any_text, "for whom"),
    must(
        "decision_rule",
        one_of(*DECISION_RULES),
        "the rule of its statements of conformity, agreed with the client",
    ),
    may(
        "density_kg_per_m3",
        AIR_DENSITY,
        "density at which its totals are stated, so that they are masses; blank: as measured, each in its own air",
    ),
    may("agreed_by", any_text, "who agreed to the decision rule for the client"),
    may("agreed_on", day, "day on which that was agreed; it names agreed_by too", happened=date.fromisoformat),
)
JOBS_CSV = Declaration("jobs.csv", "jobs, each with its decision rule", Job, _OF_A_JOB, key=("job",))
JOB_AMENDMENTS_CSV = Declaration(
    "job_amendments.csv",
    "jobs as they were amended, each time the whole of one",
    JobRevision,
    (
        *_OF_A_JOB,
        must("revision", whole, "revision of the job; as first typed it is 1"),
        must("reason", any_text, "why"),
    ),
    key=("job", "revision"),
    references=(Reference(("job",), Job, "a job in jobs.csv", "job_id", here=True),),
)
_OTHERWISE = "a side left blank has no limit"
LIMITS_OF_A_FLOW = (
    may(
        "tolerance_percent",
        percent,
        "tolerance in percent of the design flow, the same on both sides",
        odd=usually(1, 30, "a tolerance in percent"),
    ),
    may(
        "tolerance_minus_percent",
        share,
        f"instead: tolerance below the design flow in percent, 0 for none; {_OTHERWISE}",
        odd=usually(0, 30, "a tolerance in percent"),
    ),
    may(
        "tolerance_plus_percent",
        share,
        "instead: tolerance above it",
        odd=usually(0, 30, "a tolerance in percent"),
    ),
    may("minimum_flow", above_zero, f"instead: the lowest flow that conforms, in the flow's unit; {_OTHERWISE}"),
    may("maximum_flow", above_zero, "instead: the highest one"),
)
SYSTEMS_CSV = Declaration(
    "systems.csv",
    "designs of systems: what a system's total is judged by",
    SystemDesign,
    (
        must("job", any_text, "the job"),
        must("system", any_text, "the system"),
        must("service", one_of(*SERVICES), "which of its totals"),
        must("design_flow", above_zero, "the flow that the total was designed to be"),
        must("flow_unit", unit_check("volume flow"), "the unit of the design flow"),
        *LIMITS_OF_A_FLOW,
        may(
            "design_density_kg_per_m3",
            AIR_DENSITY,
            "density of the air in which the design flow is stated; blank: as measured",
        ),
        how_often_typed(),
        why_taken_back(),
    ),
    key=("job", "system", "service", "revision"),
    references=(OF_JOB,),
)
ROOMS_CSV = Declaration(
    "rooms.csv",
    "rooms whose supply and extract the design relates",
    Room,
    (
        must("job", any_text, "the job"),
        must("room", any_text, "the room, as outlets name it"),
        must("pressure", one_of("positive", "negative"), "positive: more supply than extract; negative: less"),
        how_often_typed(),
        why_taken_back(),
    ),
    key=("job", "room", "revision"),
    references=(OF_JOB,),
)
AIR_CSV = Declaration(
    "air.csv",
    "ranges of temperature of the air of a service, where none was observed; of several for one service the latest counts",
    DeclaredAir,
    (
        must("job", any_text, "the job"),
        must("service", one_of(*SERVICES), "whose air it is"),
        must("temperature_low_degC", AIR_TEMPERATURE, "lowest temperature [degC]"),
        must("temperature_high_degC", AIR_TEMPERATURE, "highest temperature [degC], above the lowest"),
        must("basis", any_text, "what the range rests on, like a set point with its band"),
    ),
    references=(OF_JOB,),
    told_by=("job", "service"),
)
