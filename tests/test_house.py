"""The house: which floor may import which, what stands at the top level, names, docstrings, and the schema.

Source: the table of floors in DEVELOPERS.md, which this test keeps true.
"""

import ast
import re
import shutil
import subprocess
from collections import defaultdict
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import CheckConstraint, UniqueConstraint, inspect, text
from sqlalchemy.dialects import sqlite
from sqlalchemy.schema import CreateIndex
from sqlmodel import SQLModel

from calib.records import database
from calib.records.tables.evidence import EVERY_TABLE

ROOT = Path(__file__).parent.parent
FILES = sorted((ROOT / "calib").rglob("*.py"))
NAMES = [file.relative_to(ROOT).as_posix() for file in FILES]

# Floor -> the floors below it that it may import. A floor is a file or folder of calib/, and may import from itself.
FLOORS = {
    "errors": (),
    "clock": (),
    "arrays": (),
    "unswept": (),
    "counted": (),
    "quantities": ("arrays", "errors"),
    "uncertainty": ("arrays", "errors"),
    "airflow": ("arrays", "errors"),
    "curves": ("uncertainty", "arrays", "errors"),
    "confirmation": ("uncertainty", "arrays", "counted", "errors"),
    "records": ("errors",),
    "measurement": ("airflow", "curves", "uncertainty", "arrays"),
    "procedures": (
        "records",
        "confirmation",
        "measurement",
        "curves",
        "airflow",
        "uncertainty",
        "quantities",
        "arrays",
        "unswept",
        "counted",
        "errors",
    ),
    "faces": (
        "procedures",
        "measurement",
        "records",
        "confirmation",
        "curves",
        "airflow",
        "uncertainty",
        "quantities",
        "clock",
        "arrays",
        "unswept",
        "counted",
        "errors",
    ),
}
# Room -> the rooms of its floor that it may import; each stands above those it names.
ROOMS = {
    "procedures": {
        "typed": (),
        "people": ("typed",),
        "certificate": ("typed",),
        "dcc": ("typed",),
        "on_record": ("certificate", "people", "typed"),
        "measure": ("on_record", "typed"),
        "pairs": ("measure", "on_record", "people", "typed"),
        "plan": ("measure", "on_record", "typed"),
        "impact": ("pairs", "measure", "on_record", "certificate", "people", "typed"),
        "factors": ("impact", "pairs", "measure", "on_record"),
        "fleet": ("impact", "measure", "on_record", "certificate", "people", "typed"),
        "enter": ("impact", "measure", "on_record", "certificate", "dcc", "people", "typed"),
        "verify": ("on_record", "certificate", "dcc", "people", "typed"),
        "calibrate": (
            "verify",
            "enter",
            "fleet",
            "impact",
            "measure",
            "on_record",
            "certificate",
            "dcc",
            "people",
            "typed",
        ),
        "report": ("verify", "factors", "impact", "measure", "on_record", "dcc", "people"),
        "sites": ("enter", "fleet", "verify", "on_record", "people", "typed"),
        "validate": ("on_record", "people"),
        "audit": ("report", "verify", "impact", "on_record", "people", "typed"),
    },
    "faces": {
        "plain_text": (),
        "write_over": (),
        "template": (),
        "cautions": (),
        "written": (),
        "palette": (),
        "watched_writing": (),
        "files": (),
        "printed_sheet": (),
        "parts": ("written", "plain_text"),
        "answers": ("parts", "written", "plain_text", "cautions"),
        "handouts": ("answers", "written", "plain_text", "printed_sheet", "template", "write_over"),
        "drawings": ("answers", "parts", "written", "plain_text", "palette"),
        "report": (
            "drawings",
            "handouts",
            "answers",
            "parts",
            "written",
            "plain_text",
            "cautions",
            "printed_sheet",
            "write_over",
        ),
        "pages": (
            "report",
            "drawings",
            "handouts",
            "answers",
            "parts",
            "written",
            "plain_text",
            "template",
            "palette",
            "watched_writing",
            "files",
        ),
        "demo": ("report", "drawings", "files"),
        "manual": ("cautions",),
        "cli": (
            "manual",
            "watched_writing",
            "pages",
            "files",
            "demo",
            "report",
            "drawings",
            "handouts",
            "answers",
            "written",
            "plain_text",
            "write_over",
        ),
    },
}
# What a floor may import from elsewhere, besides the standard library, where that is limited.
OTHERS = {"errors": (), "airflow": ("numpy",)}
STANDARD_LIBRARY = {"collections", "dataclasses", "enum", "functools", "math", "typing"}

TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "calib", "tests", "reference_data", "reports"}
# Parameters and locals that say nothing of what they hold.
EMPTY_NAMES = {"one", "found", "kept", "seen", "number"}
# Public names that mean the same thing in several modules: each answer has a document and a text, some have remarks, each page of
# commands an app, each file of a browser's pages its pages; the records in a file and on a server offer the same, and each
# revision of the schema.
SHARED_NAMES = {
    "calib/faces/answers/": {"document", "text", "remarks"},
    "calib/faces/cli/": {"app"},
    "calib/faces/pages/": {"pages"},
    "calib/records/on_": {"cause_of", "engine_of", "schema_of"},
    "calib/records/migrations/": None,
}
EMPTY_WORDS = {"manager", "service", "util", "utils", "helper", "helpers"}


@cache
def tree_of(name):
    return ast.parse((ROOT / name).read_text(encoding="utf-8"))


@pytest.fixture(scope="module", autouse=True)
def _trees():
    """A file is parsed once for all rules; the trees are large, and go when the last rule was asked."""
    yield
    tree_of.cache_clear()


def floor_of(name):
    return Path(name).relative_to("calib").parts[0].removesuffix(".py")


def room_of(name):
    """The room of a file; of the files of a floor's own the floor's front door."""
    parts = Path(name).relative_to("calib").parts
    return parts[1].removesuffix(".py") if len(parts) > 1 else ""


def imports_of(tree):
    """Every module that a file imports, at its top or inside a function, with the line."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield "." * node.level + (node.module or ""), node.lineno
            if (
                node.module is not None and node.module.count(".") < 2
            ):  # the package, or a floor: what is named may be a room
                yield from ((f"{node.module}.{alias.name}", node.lineno) for alias in node.names)


def broken_floors(name, tree):
    """Imports of a file that go up or across: to another floor, or to another room of its own."""
    own, room = floor_of(name), room_of(name)
    rooms = ROOMS.get(own, {})
    for module, line in imports_of(tree):
        package, below, there = (*module.split("."), "", "")[:3]
        to_floor = package == "calib" and below in FLOORS and below not in (own, *FLOORS[own])
        to_room = (package, below) == ("calib", own) and there in rooms and there not in (room, *rooms.get(room, ()))
        if package == "" or to_floor or to_room:
            yield f"{name}:{line} imports {module}"


def module_of(name):
    return name.removesuffix(".py").removesuffix("/__init__").replace("/", ".")


def named_modules(tree):
    """Every dotted name that an import of a file may stand for: a module, or something in it."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


MODULES = {module_of(name) for name in NAMES}


def stands_above_itself(plan):
    """Whether something of a plan, name -> the names below it, stands above itself."""
    try:
        list(TopologicalSorter(plan).static_order())
    except CycleError as error:
        return error.args[1]
    return []


@pytest.mark.parametrize("floor", ROOMS)
def test_every_part_of_a_floor_has_a_room(floor):
    assert {room_of(name) for name in NAMES if floor_of(name) == floor} == set(ROOMS[floor]) | {"__init__"}


@pytest.mark.parametrize("plan", [FLOORS, *ROOMS.values()], ids=["floors", *ROOMS])
def test_no_floor_and_no_room_stands_above_itself(plan):
    assert stands_above_itself(plan) == []


def test_no_file_imports_itself_by_way_of_others():
    below = {
        module_of(name): {each for each in named_modules(tree_of(name)) if each in MODULES} - {module_of(name)}
        for name in NAMES
    }
    assert stands_above_itself(below) == []


@pytest.mark.parametrize(
    "source", ["import calib.clock", "def later():\n    import calib.clock", "from calib import clock"]
)
def test_a_file_below_is_seen_however_it_is_imported(source):
    assert "calib.clock" in set(named_modules(ast.parse(source)))


def test_a_circle_is_seen():
    assert stands_above_itself({"a": ("b",), "b": ("c",), "c": ("a",)})


def test_every_part_of_the_package_has_a_floor():
    assert {floor_of(name) for name in NAMES} == set(FLOORS) | {"__init__"}


def test_imports_go_down():
    below_the_root = (name for name in NAMES if name != "calib/__init__.py")
    assert [each for name in below_the_root for each in broken_floors(name, tree_of(name))] == []


@pytest.mark.parametrize(
    "source",
    [
        "import calib.faces.report.content",
        "from calib.procedures.measure.evaluate import evaluate",
        "from calib import faces",
        "def later():\n    from calib.curves import curve",
        "from . import ledger",
    ],
)
def test_an_import_that_goes_up_or_across_is_seen(source):
    assert list(broken_floors("calib/records/tables/row.py", ast.parse(source)))


@pytest.mark.parametrize(
    ("name", "source"),
    [
        ("calib/procedures/measure/air.py", "from calib.procedures.impact.trace import trace_up"),
        ("calib/procedures/measure/air.py", "from calib.procedures import plan"),
        ("calib/faces/answers/budget.py", "from calib.faces import drawings"),
        ("calib/faces/written.py", "from calib.faces.answers import budget"),
    ],
)
def test_an_import_that_goes_up_to_another_room_is_seen(name, source):
    assert list(broken_floors(name, ast.parse(source)))


@pytest.mark.parametrize(
    "source", ["import numpy", "from calib.errors import CalibError", "from calib.records import ledger"]
)
def test_an_import_that_goes_down_is_let_be(source):
    assert not list(broken_floors("calib/records/tables/row.py", ast.parse(source)))


def test_the_root_of_the_package_imports_nothing():
    assert list(imports_of(tree_of("calib/__init__.py"))) == []


def test_the_lowest_floors_stand_on_little():
    foreign = [
        f"{name}:{line} imports {module}"
        for name in NAMES
        if floor_of(name) in OTHERS
        for module, line in imports_of(tree_of(name))
        if module.partition(".")[0] not in {*STANDARD_LIBRARY, "calib", *OTHERS[floor_of(name)]}
    ]
    assert foreign == []


def told(tree):
    """Text of a file with its line, docstrings left out."""
    documented = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    docstrings = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, documented) and node.body and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docstrings:
            yield node.value, node.lineno


# How one face alone is used: its name, an option, a command.
OF_ONE_FACE = re.compile(r"command line|(?<![\w-])--[a-z]|`calib |\bcalib [a-z]+ [a-z]+\b")


def test_below_the_faces_no_message_says_how_a_face_is_used():
    below = (name for name in NAMES if floor_of(name) not in ("faces", "__init__"))
    messages = ((name, line, text) for name in below for text, line in told(tree_of(name)))
    assert [f"{name}:{line} {text}" for name, line, text in messages if OF_ONE_FACE.search(text)] == []


@pytest.mark.parametrize("text", ["name it with --records", "`calib verify` names it", "on the command line"])
def test_a_message_for_one_face_is_seen(text):
    assert OF_ONE_FACE.search(text)


def test_faces_hold_no_sql():
    asked = [
        f"{name}:{node.lineno} imports {alias.name}"
        for name in NAMES
        if floor_of(name) == "faces"
        for node in ast.walk(tree_of(name))
        if isinstance(node, ast.ImportFrom) and (node.module or "").partition(".")[0] in ("sqlmodel", "sqlalchemy")
        for alias in node.names
        if alias.name != "Session"
    ]
    assert asked == []


PAST_THE_ROLES = re.compile(r"ledger\.append_\w+$|session\.(add|add_all|merge|bulk_\w+)$")
DOOR = "calib/procedures/people/authorise.py"


def written_by(node):
    """What writes in a call or is taken from the ledger by an import, past the roles."""
    if isinstance(node, ast.Call):
        return {called for called in [ast.unparse(node.func)] if PAST_THE_ROLES.search(called)}
    if isinstance(node, ast.ImportFrom) and node.module == "calib.records.ledger":
        return {alias.name for alias in node.names} & {"append_entries", "append_entries_of_rows"}
    return set()


def test_nothing_is_written_past_the_roles_but_by_their_door():
    written = {
        (name, said)
        for name in NAMES
        if floor_of(name) in ("procedures", "faces")
        for node in ast.walk(tree_of(name))
        for said in written_by(node)
    }
    assert written == {(DOOR, "ledger.append_entries"), (DOOR, "ledger.append_entries_of_rows")}


OPENS_FILES = {
    "open",
    "read_bytes",
    "read_text",
    "write_bytes",
    "write_text",
    "iterdir",
    "glob",
    "stat",
    "mkdir",
    "unlink",
}


def calls_of(names):
    """Every call in some files by the name of what is called: name, and whether of an object, file and line."""
    for name in names:
        for node in ast.walk(tree_of(name)):
            if isinstance(node, ast.Call):
                called = getattr(node.func, "attr", getattr(node.func, "id", None))
                yield called, isinstance(node.func, ast.Attribute), f"{name}:{node.lineno} calls {called}"


def test_procedures_take_bytes_and_open_no_file():
    called = calls_of(name for name in NAMES if floor_of(name) == "procedures")
    assert [place for called, _, place in called if called in OPENS_FILES] == []


def test_only_one_place_reads_a_clock():
    called = calls_of(name for name in NAMES if name != "calib/clock.py")
    assert [
        place for called, of_an_object, place in called if of_an_object and called in {"now", "utcnow", "today"}
    ] == []


def tracked():
    """Paths that git tracks, or None where this is no checkout."""
    if shutil.which("git") is None:
        return None
    found = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)  # noqa: S607
    return found.stdout.split("\n")[:-1] if found.returncode == 0 else None


@pytest.mark.skipif(tracked() is None, reason="not a git checkout")
def test_the_top_level_holds_only_what_the_house_names():
    assert {path for path in {name.partition("/")[0] for name in tracked()} if path[0] != "."} <= TOP_LEVEL


def public(node):
    return isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) and not node.name.startswith("_")


def public_definitions(body):
    """Public functions and classes of a module, and the public methods of its public classes."""
    for node in filter(public, body):
        yield node
        if isinstance(node, ast.ClassDef):
            yield from public_definitions(node.body)


def test_everything_public_says_what_it_is():
    trees = {name: tree_of(name) for name in NAMES if "/versions/" not in name}
    assert [name for name, tree in trees.items() if not ast.get_docstring(tree)] == []
    defined = ((name, node) for name, tree in trees.items() for node in public_definitions(tree.body))
    assert [f"{name}:{node.lineno} {node.name}" for name, node in defined if not ast.get_docstring(node)] == []


def test_each_answer_is_a_document_for_machines_and_a_text_for_people():
    answers = [name for name in NAMES if re.fullmatch(r"calib/faces/answers/[a-z]\w+\.py", name)]
    functions = {
        name: {node.name for node in tree_of(name).body if isinstance(node, ast.FunctionDef)} for name in answers
    }
    assert {name for name, defined in functions.items() if not {"document", "text"} <= defined} == set()


def words_of(name):
    """Words of a name in any spelling: read_file, ReadFile, read-file."""
    return {word.lower() for word in re.findall(r"[A-Z]?[a-z]+|[A-Z]+", name)}


def is_empty(name):
    return bool(words_of(name) & EMPTY_WORDS) or name in EMPTY_NAMES


def test_no_module_class_or_function_has_an_empty_name():
    assert [name for name in NAMES if any(map(is_empty, Path(name).with_suffix("").parts))] == []
    defined = (
        (name, node)
        for name in NAMES
        for node in ast.walk(tree_of(name))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)
    )
    assert [f"{name}:{node.lineno} {node.name}" for name, node in defined if is_empty(node.name)] == []


def parameters_of(tree):
    """Every parameter of a function, a method or a lambda."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            arguments = node.args
            yield from (*arguments.posonlyargs, *arguments.args, *arguments.kwonlyargs)
            yield from filter(None, (arguments.vararg, arguments.kwarg))


def locals_of(tree):
    """Every name that is bound in a module: variables, and the fields of its classes."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield node


def test_parameters_say_what_they_hold():
    parameters = ((name, each) for name in NAMES for each in parameters_of(tree_of(name)))
    assert [f"{name}:{each.lineno} {each.arg}" for name, each in parameters if each.arg in EMPTY_NAMES] == []


def test_locals_say_what_they_hold():
    bound = ((name, each) for name in NAMES for each in locals_of(tree_of(name)))
    assert [f"{name}:{each.lineno} {each.id}" for name, each in bound if each.id in EMPTY_NAMES] == []


@pytest.mark.parametrize(
    "source",
    [
        "one = 1",
        "def f():\n    found: int = 1",
        "[kept for kept in x]",
        "for a, number in x: ...",
        "(seen := 1)",
        "class A:\n    found: int",
    ],
)
def test_a_local_that_says_nothing_is_seen(source):
    assert {each.id for each in locals_of(ast.parse(source))} & EMPTY_NAMES


@pytest.mark.parametrize(
    "source", ["def f(one): ...", "class A:\n    def f(self, *, kept=1): ...", "f = lambda number: 1"]
)
def test_a_parameter_that_says_nothing_is_seen(source):
    assert {each.arg for each in parameters_of(ast.parse(source))} & EMPTY_NAMES


def public_names(name, tree):
    """Public names that a module defines at its top level, but for those that several modules share on purpose."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            defined = {node.name}
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            defined = {each.id for target in targets for each in ast.walk(target) if isinstance(each, ast.Name)}
        else:
            continue
        if name.startswith("calib/faces/cli/") and isinstance(node, ast.FunctionDef):
            continue  # commands are called what people type
        yield from (each for each in defined if not each.startswith("_") and not is_shared(name, each))


def is_shared(name, defined):
    """Whether a public name is one that several modules share on purpose."""
    return any(
        name.startswith(place) and (shared is None or defined in shared) for place, shared in SHARED_NAMES.items()
    )


def test_a_public_name_is_defined_once():
    places = defaultdict(set)
    for name in NAMES:
        for defined in public_names(name, tree_of(name)):
            places[defined].add(name)
    assert {defined: sorted(files) for defined, files in places.items() if len(files) > 1} == {}


def test_a_public_name_is_seen_however_it_is_defined():
    tree = ast.parse("A, B = 1, 2\nC: int = 3\nclass D: ...\ndef e(): ...\ndef _f(): ...\nif True:\n    pass")
    assert set(public_names("calib/quantities.py", tree)) == {"A", "B", "C", "D", "e"}


@pytest.mark.parametrize(("name", "words"), [("read_file", {"read", "file"}), ("UnitManager", {"unit", "manager"})])
def test_words_are_seen_in_any_spelling(name, words):
    assert words_of(name) == words


TABLES = [table.__table__ for table in EVERY_TABLE]


SKIPPED_BY_SQLALCHEMY = "ignore:.*expression-based index"


@pytest.fixture
def connection(empty_records):
    engine = database.open_records(str(empty_records))
    with engine.connect() as opened:
        yield opened
    engine.dispose()


@pytest.mark.filterwarnings(SKIPPED_BY_SQLALCHEMY)
def test_the_tables_of_the_schema_are_those_of_the_code(connection):
    assert set(SQLModel.metadata.tables) == {table.name for table in TABLES}
    assert compare_metadata(MigrationContext.configure(connection), SQLModel.metadata) == []


def test_the_schema_checks_what_the_code_says(connection):
    inspected = inspect(connection)
    stored = {
        (table.name, one["name"]): one["sqltext"]
        for table in TABLES
        for one in inspected.get_check_constraints(table.name)
    }
    written = {
        (table.name, one.name): str(one.sqltext)
        for table in TABLES
        for one in table.constraints
        if isinstance(one, CheckConstraint)
    }
    assert stored == written


def test_the_schema_has_the_keys_with_expressions_that_the_code_says(connection):
    """What SQLAlchemy does not read back."""
    asked = "SELECT name, sql FROM sqlite_master WHERE type = 'index' AND sql LIKE '%COALESCE%'"
    stored = dict(connection.execute(text(asked)).all())
    keys = [index for table in TABLES for index in table.indexes if index.unique]
    assert stored == {index.name: str(CreateIndex(index).compile(dialect=sqlite.dialect())) for index in keys}


@pytest.mark.filterwarnings(SKIPPED_BY_SQLALCHEMY)
def test_the_schema_holds_unique_what_the_code_says(connection):
    inspected = inspect(connection)
    stored = {
        (table.name, *one["column_names"]) for table in TABLES for one in inspected.get_unique_constraints(table.name)
    }
    several = {
        (table.name, *one.columns.keys())
        for table in TABLES
        for one in table.constraints
        if isinstance(one, UniqueConstraint)
    }
    single = {(table.name, column.name) for table in TABLES for column in table.columns if column.unique}
    assert stored == several | single


@pytest.mark.parametrize("verb", ["UPDATE", "DELETE"])
def test_every_table_has_its_guards(connection, verb):
    triggers = connection.execute(text("SELECT sql FROM sqlite_master WHERE type = 'trigger'")).scalars()
    written = [" ".join(sql.split()) for sql in triggers]
    guards = {
        table.name: sum(f" BEFORE {verb} ON {table.name} BEGIN SELECT RAISE(ABORT" in sql for sql in written)
        for table in TABLES
    }
    assert guards == dict.fromkeys(guards, 1)
