"""The shape of the program, read from its source: arrows go one way, public names are explained."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "retune"
MODULES = {
    ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__"): path
    for path in sorted(PACKAGE.rglob("*.py"))
}
TREES = {name: ast.parse(path.read_text(encoding="utf-8")) for name, path in MODULES.items()}

ROAD = ("score", "harmony", "ratios", "tuning", "encode")
GROUND = {"arrays", "note_names", "toml_lines", "units", "constants", "errors", "options", "wording", "files"}
CONSUMERS = {"compare", "listen", "page", "parts", "passages", "plots", "batch", "api", "cli"}
WRITERS = {
    "retune.files",
    "retune.listen.soundfont",  # into a temporary folder of its own
    "retune.batch.lines",  # rows as they come, so that an interrupted batch can go on
}


FOLDERS = {
    "harmony": ("evidence", "finder"),
    "encode": ("survey", "plain", "placing", "writing"),
    "check": ("receiver", "measures", "kept"),
}
"""Folders inside a stage, from left to right."""


def folder_of(module: str) -> str:
    """`retune.check.kept.added` lies in `kept`, `retune.check.report` in none."""
    path = MODULES.get(module)
    return path.parent.name if path and path.parent.parent.parent == PACKAGE else ""


def unit_of(module: str) -> str:
    """`retune.score.reader` belongs to `score`."""
    return module.split(".")[1] if "." in module else ""


@cache
def imports(module: str) -> tuple[tuple[str, int], ...]:
    """Full names of all modules that a module imports anywhere, and the line."""
    return tuple(_imports(module))


def _imports(module: str) -> Iterator[tuple[str, int]]:
    for node in ast.walk(TREES[module]):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, node.lineno
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            for alias in node.names:
                full = f"{node.module}.{alias.name}"
                yield full if full in MODULES else node.module, node.lineno


def own_imports(module: str) -> Iterator[tuple[str, str]]:
    """Units of ours that a module imports, with the place."""
    for name, line in imports(module):
        if name.startswith("retune.") and unit_of(name) != unit_of(module):
            yield unit_of(name), f"{module}:{line} imports {name}"


def modules_of(unit: str) -> list[str]:
    return [module for module in MODULES if unit_of(module) == unit]


def test_there_is_something_to_read():
    assert set(ROAD) <= {unit_of(module) for module in MODULES}
    assert any(unit == "score" for unit, _ in own_imports("retune.harmony.find"))


@pytest.mark.parametrize("stage", ROAD)
def test_a_stage_imports_only_what_lies_to_its_left(stage):
    allowed = GROUND | set(ROAD[: ROAD.index(stage)])
    wrong = [
        place for module in modules_of(stage) for unit, place in own_imports(module) if unit not in allowed
    ]
    assert wrong == []


@pytest.mark.parametrize(("stage", "folders"), FOLDERS.items())
def test_folders_inside_a_stage_import_one_way(stage, folders):
    wrong = [
        f"{module}:{line} imports {name}"
        for module in modules_of(stage)
        for name, line in imports(module)
        if name.startswith(f"retune.{stage}.") and folder_of(module) in folders
        if folder_of(name) in folders[folders.index(folder_of(module)) + 1 :]
    ]
    assert {folder_of(module) for module in modules_of(stage)} == {*folders, ""}
    assert wrong == []


def test_the_ground_imports_no_stage():
    wrong = [place for base in GROUND for unit, place in own_imports(f"retune.{base}") if unit not in GROUND]
    assert wrong == []


def test_check_does_not_import_encode():
    """It reads bytes as a receiver would, or it proves nothing."""
    allowed = GROUND | set(ROAD) - {"encode"}
    wrong = [
        place for module in modules_of("check") for unit, place in own_imports(module) if unit not in allowed
    ]
    assert wrong == []


def test_nothing_on_the_road_imports_the_pipeline_or_a_consumer():
    road = [m for m in MODULES if unit_of(m) in {*ROAD, *GROUND, "check", "plan", "pipeline", "report"}]
    above = CONSUMERS | {"pipeline", "api", "rows", "settings"}
    wrong = [place for module in road for unit, place in own_imports(module) if unit in above]
    assert wrong == []


def test_only_the_command_line_imports_the_command_line():
    others = [module for module in MODULES if unit_of(module) not in ("cli", "__main__")]
    wrong = [place for module in others for unit, place in own_imports(module) if unit == "cli"]
    assert wrong == []


def test_no_two_modules_import_each_other():
    """Not for types either, and not by way of others. `retune` itself loads its public names when asked."""
    arrows = {m: {name for name, _ in imports(m) if name != "retune"} for m in MODULES}
    try:
        tuple(TopologicalSorter(arrows).static_order())
    except CycleError as error:
        pytest.fail(" imports ".join(reversed(error.args[1])))


@pytest.mark.parametrize(
    ("forbidden", "but_by"),
    [
        ("fractions", ()),
        (
            "pickle",
            ("retune.batch.local", "retune.batch.worker"),
        ),  # two ends of pipes between our own processes
    ],
)
def test_forbidden_modules_are_not_imported(forbidden, but_by):
    wrong = [
        f"{m}:{line}"
        for m in MODULES
        for name, line in imports(m)
        if name.split(".")[0] == forbidden and m not in but_by
    ]
    assert wrong == []


def test_only_one_module_writes_files_of_the_user():
    calls = [(m, node) for m, tree in TREES.items() for node in ast.walk(tree) if isinstance(node, ast.Call)]
    places = {(module, call.lineno) for module, call in calls if _writes(call)}
    assert {module for module, _ in places} == WRITERS, sorted(places)


def _writes(call: ast.Call) -> bool:
    if isinstance(call.func, ast.Attribute) and getattr(call.func.value, "id", "") == "wave":
        return False  # the wave module writes into memory
    text = ast.unparse(call)
    if text.startswith(("os.open(", "os.write(")):
        return "os.devnull" not in text and re.search(r"O_(WRONLY|RDWR|CREAT)|os\.write", text) is not None
    name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    if name in ("write_bytes", "write_text"):
        return True
    values = [argument.value for argument in call.args[:2] if isinstance(argument, ast.Constant)]
    values += [k.value.value for k in call.keywords if k.arg == "mode" and isinstance(k.value, ast.Constant)]
    return name == "open" and any(
        isinstance(value, str) and re.fullmatch("[rwaxbt+]*[wax+][bt+]*", value) for value in values
    )


def test_every_public_name_has_a_docstring():
    missing = [
        f"{m}: module" for m, tree in TREES.items() if not ast.get_docstring(tree) and _statements(tree)
    ]
    for module, tree in TREES.items():
        missing += [f"{module}: {name}" for name, node in _public(tree) if not ast.get_docstring(node)]
    assert missing == []


def _statements(tree: ast.Module) -> bool:
    return bool(tree.body)


def _public(tree: ast.Module | ast.ClassDef, prefix: str = "") -> Iterator[tuple[str, ast.AST]]:
    for node in tree.body:
        if isinstance(node, ast.ClassDef | ast.FunctionDef) and not node.name.startswith("_"):
            yield prefix + node.name, node
            if isinstance(node, ast.ClassDef):
                yield from _public(node, f"{prefix}{node.name}.")


def test_modules_stay_short():
    long = {m: n for m, path in MODULES.items() if (n := len(path.read_text("utf-8").splitlines())) > 600}
    assert long == {}
