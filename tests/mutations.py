"""Change the numerics a little, everywhere, and see whether a test notices, outside CI.

    python -m tests.mutations [--every N [--after K]] [MODULE...]

Of the wings and calib/measurement, or of the modules named (calib.airflow.traverse). A mutant has one comparison, number or
operator changed, or one term dropped; what holds off last bits (below 1e-6) and messages are left alone. For each one a forked
process imports the module with that change and runs the tests that mirror the module (those of its wing, where it has none),
then the published ones that import it, until one fails; where none does, those of the procedures that its wing serves, with
records in a file. What survives is printed, with its reason where tests/survivors.toml has one; more than 2 % of survivors, or one
without a reason, is exit status 1. With --every a sample is tried, each N-th mutant of all the modules together, from the K-th
on: some 8,000 there are, and a whole run takes a night.
"""

import argparse
import ast
import copy
import functools
import importlib.abc
import importlib.machinery
import importlib.util
import itertools
import os
import re
import resource
import sys
import tomllib
import warnings
from pathlib import Path

import hypothesis
import pytest

ROOT = Path(__file__).parent.parent
WINGS = ("uncertainty", "airflow", "curves", "confirmation", "measurement")
COMPARISONS = {
    ast.Lt: (ast.LtE, ast.GtE), ast.LtE: (ast.Lt, ast.Gt), ast.Gt: (ast.GtE, ast.LtE), ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.In: (ast.NotIn,), ast.NotIn: (ast.In,),
    ast.Is: (ast.IsNot,), ast.IsNot: (ast.Is,),
}  # fmt: skip
OPERATORS = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult, ast.FloorDiv: ast.Div,
}  # fmt: skip
GUARD = 1e-6  # smaller numbers hold off last bits
MOST = 0.02  # survivors that are borne with, each with its reason
# Loaded before the forks.
HEAVY = (
    "scipy.stats", "scipy.optimize", "scipy.integrate", "statsmodels.api", "mpmath", "sqlmodel", "GTC", "pint",
)  # fmt: skip
# Without the fixtures of records, which no test of the numerics asks for: they take longer to load than most of these take to run.
OPTIONS = ("-x", "-q", "-n0", "--assert=plain", "-p", "no:cacheprovider")
PLAIN = (*OPTIONS, "--noconftest")
WITH_RECORDS = (*OPTIONS, "-k", "not postgresql")
# The procedures whose tests know what a wing answers; the first of all measures in every way, beside other packages.
FIRST = ("measure/test_evaluate_every_way.py", "measure/test_distributions_every_way.py")
ROOMS = {
    "uncertainty": ("measure", "factors"),
    "airflow": ("measure", "factors"),
    "curves": ("certificate", "calibrate"),
    "confirmation": ("measure", "fleet"),
    "measurement": ("measure", "factors"),
}
# Of the gate, or of acts about the numbers: of confirmation alone they know more than the others.
OF_CONFIRMATION = {
    "test_gate_every_way.py",
    "test_limits.py",
    "test_budget.py",
    "test_cost_of_a_job.py",
    "test_verdict.py",
}
RECORDS = re.compile(r"tests\.(folders|command)|[(, ]\w*_records[,)]|tmp_path")


def changed(node, **fields):
    """A copy of a node with other fields."""
    other = copy.copy(node)
    vars(other).update(fields)
    return other


def variants(node):
    """What a node may be changed to."""
    match node:
        case ast.Compare():
            for k, operator in enumerate(node.ops):
                for other in COMPARISONS[type(operator)]:
                    yield changed(node, ops=[*node.ops[:k], other(), *node.ops[k + 1 :]])
        case ast.Constant(value=bool()):
            return
        case ast.Constant(value=int()):
            yield from (changed(node, value=node.value + step) for step in (1, -1))
        case ast.Constant(value=float()) if abs(node.value) >= GUARD or not node.value:
            yield from (
                changed(node, value=value) for value in ((1.1 * node.value, 0.9 * node.value) if node.value else (1.0,))
            )
        case ast.BinOp() if type(node.op) in OPERATORS:
            yield from (changed(node, op=OPERATORS[type(node.op)]()), node.left)
            yield from [node.right] * isinstance(node.op, ast.Add | ast.Mult)
        case ast.BoolOp():
            yield changed(node, op=ast.And() if isinstance(node.op, ast.Or) else ast.Or())
            rest = [node.values[:k] + node.values[k + 1 :] for k in range(len(node.values))]
            yield from (changed(node, values=values) if len(values) > 1 else values[0] for values in rest)
        case ast.UnaryOp(op=ast.USub() | ast.Not() | ast.Invert()):
            yield node.operand


def places(node, name=""):
    """Every node that may be changed, with the function it stands in: no annotation, decorator or message."""
    for field, value in ast.iter_fields(node):
        if field in ("annotation", "returns", "decorator_list") or isinstance(node, ast.JoinedStr | ast.Raise):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST) and not (isinstance(child, ast.BinOp) and isinstance(child.op, ast.BitOr)):
                yield child, name
                inner = f"{name}.{child.name}" if isinstance(child, ast.FunctionDef | ast.ClassDef) else name
                yield from places(child, inner.strip("."))


def mutants(tree):
    """Line and change, while the tree is so changed: a node takes the kind and fields of another, and its own again."""
    for node, name in list(places(tree)):
        kind, fields = type(node), vars(node)
        for other in list(variants(node)):
            said = f"{name or 'module'}: {ast.unparse(node)} -> {ast.unparse(other)}"
            node.__class__, node.__dict__ = type(other), dict(vars(other))
            yield f"line {fields['lineno']}", said
            node.__class__, node.__dict__ = kind, fields


class Changed(importlib.abc.MetaPathFinder, importlib.machinery.SourceFileLoader):
    """Finds one module and gives it another tree."""

    def __init__(self, module, path, tree):
        super().__init__(module, str(path))
        self.tree = tree

    def find_spec(self, fullname, path, target=None):  # noqa: ARG002  # as a finder
        return importlib.util.spec_from_loader(fullname, self) if fullname == self.name else None

    def get_code(self, fullname):  # noqa: ARG002  # as a loader
        return compile(ast.fix_missing_locations(self.tree), self.path, "exec")


class Short:
    """Property tests neither draw at random nor make a failure smaller."""

    def pytest_configure(self):
        phases = (hypothesis.Phase.explicit, hypothesis.Phase.generate)
        hypothesis.settings.register_profile(
            "short", deadline=None, max_examples=60, phases=phases, derandomize=True, database=None
        )
        hypothesis.settings.load_profile("short")


def tests_of(module):
    """The module's own tests, those of its wing where it has none, and the published ones that import it; none of records."""
    _, wing, name = module.split(".")
    texts = {
        file: file.read_text(encoding="utf-8")
        for folder in (wing, "published", "worked_cases")
        for file in sorted((ROOT / "tests" / folder).glob("test_*.py"))
    }
    plain = [file for file, text in texts.items() if not RECORDS.search(text)]
    of_wing = [file for file in plain if file.parent.name == wing]
    own = [file for file in of_wing if file.name.startswith(f"test_{name}")] or of_wing
    return own + [file for file in plain if file not in own and f"{module} import" in texts[file]]


def tests_of_procedures(wing):
    """The tests of the procedures that a wing serves, with records."""
    procedures = ROOT / "tests" / "procedures"
    left_out = set() if wing == "confirmation" else OF_CONFIRMATION
    files = [file for room in ROOMS[wing] for file in sorted((procedures / room).glob("test_*.py"))]
    return list(
        dict.fromkeys([*(procedures / name for name in FIRST), *(file for file in files if file.name not in left_out)])
    )


def passes(finder, options, files, limit):
    """Whether the tests pass in a forked process within a time of the processor [s], and the time that they took [s]."""
    child = os.fork()
    if not child:
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        resource.setrlimit(resource.RLIMIT_CPU, (limit, limit))
        sys.meta_path[:0] = finder
        status = 1
        try:
            status = int(pytest.main([*options, *map(str, files)], plugins=[Short()]))
        finally:
            os._exit(status)
    _, status, usage = os.wait4(child, 0)
    return status == 0, usage.ru_utime + usage.ru_stime


def examine(module, reasons, turn):
    """Number of mutants of a module that are tried, and what survived, which is printed with its reason; `turn` is as in main."""
    path = ROOT / f"{module.replace('.', '/')}.py"
    tree = ast.parse(path.read_text(encoding="utf-8"))
    chosen = (each for each in mutants(tree) if next(turn))
    tests = [(PLAIN, tests_of(module)), (WITH_RECORDS, tests_of_procedures(module.split(".")[1]))]

    @functools.cache
    def limit(stage):
        """Time that tests may take [s], from what they take on the module as it is."""
        passed, taken = passes([], *tests[stage], 600)
        if not passed:
            raise SystemExit(f"{module}: its tests fail as it is")
        return int(10 + 3 * taken)

    count, survived = 0, []
    for line, said in chosen:
        count += 1
        if all(passes([Changed(module, path, tree)], *tests[stage], limit(stage))[0] for stage in range(len(tests))):
            survived.append(said)
            print(f"  {line}: {said}   {reasons.get(said, 'NO REASON GIVEN')}", flush=True)
    return count, survived


def main(modules, every, after):
    """Examine modules and print the share of survivors; exit status 1 where that is too much or has no reason."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # threads that wait for one another take ten times as long
    turn = (count % every == after for count in itertools.count())  # whether it is the turn of the next mutant
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name in HEAVY:
            importlib.import_module(name)
    reasons = tomllib.loads((ROOT / "tests" / "survivors.toml").read_text(encoding="utf-8"))
    all_of_them = [path for wing in WINGS for path in sorted((ROOT / "calib" / wing).glob("[a-z]*.py"))]
    total, bad, unexplained = 0, 0, 0
    for module in modules or [f"calib.{path.parent.name}.{path.stem}" for path in all_of_them]:
        count, survived = examine(module, reasons.get(module, {}), turn)
        unexplained += len(set(survived) - set(reasons.get(module, {})))
        total, bad = total + count, bad + len(survived)
        print(f"{module}: {count} mutants, {len(survived)} survived", flush=True)
    share = bad / total
    print(
        f"{total} mutants, {bad} survived: {100 * share:.1f} % (at most {100 * MOST:.0f} %), {unexplained} without a reason"
    )
    return int(share > MOST or unexplained > 0)


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("modules", nargs="*")
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--after", type=int, default=0)
    asked = parser.parse_args()
    sys.exit(main(asked.modules, asked.every, asked.after))
