"""The rules of the house, what its people are authorised to do, and how its program was validated.

house_rules.csv, competences.csv, validations.csv. People stand in no file: a role is given by a person who has one to give.
"""

from datetime import datetime

from calib.procedures.typed.cells import any_text, day, one_of, time_with_zone, whole
from calib.procedures.typed.declaration import Declaration, Reference, may, must
from calib.procedures.typed.declared.taken_back import why_taken_back
from calib.records.tables.company import HouseRule
from calib.records.tables.people import Competence, Person
from calib.records.tables.reports import SoftwareValidation
from calib.records.words import HOUSE_RULES

PEOPLE_ON_RECORD = Declaration(
    "people", "people on record", Person, (must("name", any_text, "the name"),), key=("name",)
)
HOUSE_RULES_CSV = Declaration(
    "house_rules.csv",
    "rules that the company set itself; of several of one rule the last counts",
    HouseRule,
    (
        must("rule", one_of(*HOUSE_RULES), "the rule"),
        must("holds", one_of("yes", "no"), "whether it holds from then on"),
        may("value", any_text, "its value, of a rule that has one"),
        must("reason", any_text, "why"),
    ),
    told_by=("rule", "holds", "value", "reason"),
)
COMPETENCES_CSV = Declaration(
    "competences.csv",
    "what people on record are authorised to do; of several of one scope the last counts",
    Competence,
    (
        must("person", any_text, "a person on record"),
        must("scope", any_text, "what the person may do"),
        must("from_on", day, "from which day on"),
        may("until_on", day, "until which day; blank: until another is recorded"),
        must("authorised_by", any_text, "who authorised it"),
        why_taken_back(),
    ),
    references=(Reference(("person",), Person, "a person on record", "person_id"),),
    told_by=("person", "scope", "from_on"),
)
VALIDATIONS_CSV = Declaration(
    "validations.csv",
    "validations of the program by the published numbers",
    SoftwareValidation,
    (
        must("at", time_with_zone, "when", happened=datetime.fromisoformat),
        must("version", any_text, "version of the program"),
        must("platform", any_text, "what the numbers depend on beside the program"),
        must("result", one_of("passed", "failed"), "what it gave"),
        must("checks", whole, "how many numbers were compared"),
        must("sha256", any_text, "SHA-256 of the file"),
        must("file", any_text, "file beside this one that holds what each number gave", names_file=True),
    ),
    told_by=("at", "sha256"),
)
