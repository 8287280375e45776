"""The shape of the package, held by reading its source: layers, cycles, sizes, classes."""

from __future__ import annotations

import ast
import functools
from collections.abc import Iterator
from pathlib import Path

import pytest

import skeleton

PACKAGE = Path(skeleton.__file__).parent
MODULES = {
    ".".join(("skeleton", *path.relative_to(PACKAGE).with_suffix("").parts)).removesuffix(
        ".__init__"
    ): path
    for path in sorted(PACKAGE.rglob("*.py"))
}

LAYERS = (
    "errors", "theory", "score", "analysis", "intonation", "audio", "listening", "journal",
    "export", "cli",
)  # fmt: skip
"""A package imports itself and those before it."""

BLIND = {"audio": {"score", "analysis", "intonation"}}
"""Earlier packages that a package does not see all the same: audio knows no score."""

LXML_MODULES = {
    "skeleton.export.marking.annotation",
    "skeleton.export.handout.page_music",
    "skeleton.export.handout.pictures",
    "skeleton.export.engraving.measure_range",
    "skeleton.export.reducing.part_writer",
    "skeleton.export.engraving.picture",
    "skeleton.export.reducing.reduction",
    "skeleton.export.engraving.svg",
    "skeleton.export.engraving.svg_edit",
    "skeleton.export.engraving.tree_edit",
    "skeleton.export.views",
    "skeleton.score.foreign",
    "skeleton.score.ids",
    "skeleton.score.marking",
    "skeleton.score.stream",
    "skeleton.score.tree",
}
"""Modules that handle MusicXML or SVG as trees, and may import lxml."""

ONLY_IN = {
    "verovio": {"skeleton.export.engraving.engraver_worker"},
    "music21": {"skeleton.score.foreign"},
    "typst": {"skeleton.export.handout.typeset"},
    "lxml": LXML_MODULES,
}

MAX_LINES = 400


@functools.cache
def tree(module: str) -> ast.Module:
    return ast.parse(MODULES[module].read_text(encoding="utf-8"), filename=str(MODULES[module]))


def imports(module: str, *, top_level_only: bool = False) -> Iterator[tuple[str, int]]:
    """Yield every imported module's name with its line; ``from a import b`` gives a and a.b."""
    nodes = tree(module).body if top_level_only else ast.walk(tree(module))
    for node in nodes:
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, node.lineno
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}:{node.lineno}: relative import"
            assert node.module is not None
            yield node.module, node.lineno
            for alias in node.names:
                yield f"{node.module}.{alias.name}", node.lineno


def own_imports(module: str) -> dict[str, int]:
    return {name: line for name, line in imports(module) if name in MODULES}


def layer(module: str) -> str | None:
    """Return the layer a module belongs to; None for the package itself and ``__main__``."""
    parts = module.split(".")
    return parts[1] if len(parts) > 1 and parts[1] != "__main__" else None


def test_something_is_walked() -> None:
    assert {"skeleton", "skeleton.errors", "skeleton.cli.app"} <= MODULES.keys()
    assert "skeleton.theory.pitch" in own_imports("skeleton.score.model")


@pytest.mark.parametrize("module", MODULES)
def test_imports_point_one_way(module: str) -> None:
    here = layer(module)
    if here is None:
        return
    assert here in LAYERS, f"{module} belongs to no layer; add it to the order"
    allowed = set(LAYERS[: LAYERS.index(here) + 1]) - BLIND.get(here, set())
    for name, line in own_imports(module).items():
        there = layer(name)
        assert there is None or there in allowed, f"{module}:{line} imports {name}"
        # The root gathers the public names of every layer, so it stands above them all.
        assert name != "skeleton", f"{module}:{line} imports the package root"


def test_errors_import_nothing_of_the_package() -> None:
    assert own_imports("skeleton.errors") == {}


def test_no_cycles_also_none_inside_functions() -> None:
    graph = {module: set(own_imports(module)) - {module} for module in MODULES}
    done: set[str] = set()
    path: list[str] = []

    def visit(module: str) -> None:
        if module in done:
            return
        if module in path:
            cycle = [*path[path.index(module) :], module]
            pytest.fail(f"import cycle: {' > '.join(cycle)}")
        path.append(module)
        for other in sorted(graph[module]):
            visit(other)
        path.pop()
        done.add(module)

    for module in graph:
        visit(module)
    assert done == MODULES.keys()


@pytest.mark.parametrize("module", MODULES)
def test_no_module_is_too_long(module: str) -> None:
    assert len(MODULES[module].read_text(encoding="utf-8").splitlines()) <= MAX_LINES


@pytest.mark.parametrize("library", ONLY_IN)
def test_heavy_libraries_stay_in_their_modules(library: str) -> None:
    users = {
        module
        for module in MODULES
        if any(name.split(".")[0] == library for name, _ in imports(module))
    }
    assert users <= ONLY_IN[library]


def test_music21_is_imported_inside_functions_only() -> None:
    for module in MODULES:
        for name, line in imports(module, top_level_only=True):
            assert name.split(".")[0] != "music21", f"{module}:{line}"


@pytest.mark.parametrize("module", [m for m in MODULES if layer(m) == "cli"])
def test_click_is_not_imported_by_name(module: str) -> None:
    assert all(name.split(".")[0] != "click" for name, _ in imports(module))


@pytest.mark.parametrize("module", [m for m in MODULES if layer(m) != "cli"])
def test_only_the_command_line_prints(module: str) -> None:
    for node in ast.walk(tree(module)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id != "print", f"{module}:{node.lineno} prints"


def classes() -> Iterator[tuple[str, ast.ClassDef]]:
    for module in MODULES:
        for node in ast.walk(tree(module)):
            if isinstance(node, ast.ClassDef):
                yield module, node


def test_every_dataclass_is_frozen_and_slotted_and_has_no_generated_order() -> None:
    seen = 0
    for module, node in classes():
        for decorator in node.decorator_list:
            call = decorator.func if isinstance(decorator, ast.Call) else decorator
            if ast.unparse(call).split(".")[-1] != "dataclass":
                continue
            seen += 1
            given = (
                {k.arg: ast.literal_eval(k.value) for k in decorator.keywords}
                if isinstance(decorator, ast.Call)
                else {}
            )
            assert given.get("frozen") is True, f"{module}.{node.name} is not frozen"
            assert given.get("slots") is True, f"{module}.{node.name} has no slots"
            assert not given.get("order"), f"{module}.{node.name} has a generated order"
    assert seen > 20


def public_definitions(
    body: list[ast.stmt], prefix: str
) -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef]]:
    for node in body:
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            continue
        if node.name.startswith("_"):
            continue
        yield f"{prefix}.{node.name}", node
        if isinstance(node, ast.ClassDef):
            yield from public_definitions(node.body, f"{prefix}.{node.name}")


@pytest.mark.parametrize("module", MODULES)
def test_every_public_name_has_a_docstring(module: str) -> None:
    assert ast.get_docstring(tree(module)), f"{module} has no docstring"
    for name, node in public_definitions(tree(module).body, module):
        if not any(ast.unparse(d).endswith((".setter", "overload")) for d in node.decorator_list):
            assert ast.get_docstring(node), f"{name} has no docstring"
