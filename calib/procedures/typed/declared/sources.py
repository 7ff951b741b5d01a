"""What is typed of the sources of outlet factors, and of other spellings of them: sources.csv, source_spellings.csv."""

from calib.procedures.typed.cells import any_text
from calib.procedures.typed.declaration import Declaration, Reference, may, must
from calib.procedures.typed.spelling import spelled_alike
from calib.records.tables.factors import Source, SourceSpelling

SOURCES_CSV = Declaration(
    "sources.csv",
    "sources of outlet factors: outlets whose factor has the same one are in error together",
    Source,
    (
        must("source", any_text, "name of the source, as outlets.csv has it", compared=spelled_alike),
        must("document", any_text, "the document that it is, or that holds it"),
        may(
            "edition",
            any_text,
            "edition of the document; of several the latest recorded counts",
            compared=spelled_alike,
        ),
        must("basis", any_text, "what its factors rest on"),
    ),
    key=("source", "edition"),
)
SOURCE_SPELLINGS_CSV = Declaration(
    "source_spellings.csv",
    "other spellings of sources of outlet factors, where they differ by more than case, space and punctuation",
    SourceSpelling,
    (
        must("spelling", any_text, "the other spelling, as outlets have it", compared=spelled_alike),
        must("source", any_text, "the source that it stands for", compared=spelled_alike),
        must("reason", any_text, "how it is known that it is this one"),
    ),
    key=("spelling",),
    references=(Reference(("source",), Source, "a source in sources.csv or in the records", "source_id"),),
)
