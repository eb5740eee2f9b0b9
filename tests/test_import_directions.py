"""Data flows one way, and so do imports: rules <- collector <- dashboard, simulator on the side."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
OURS = ("rules", "collector", "dashboard", "simulator", "tests")
MAY_IMPORT = {
    "rules": {"rules"},
    "collector": {"collector", "rules"},
    "dashboard": {"dashboard", "collector", "rules"},
    "simulator": {"simulator", "collector"},
}
# What of the collector the pretend world may use, module by module of the simulator.
PURE_SIMULATOR = ("press", "disc", "faults", "scenarios")
# The command table names its targets as strings, which are loaded when a command is called.
COMMAND_TABLE = ROOT / "collector" / "cli" / "__init__.py"


def modules(package: str) -> list[Path]:
    return sorted((ROOT / package).rglob("*.py"))


def imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
    return {name for name in found if name.split(".")[0] in OURS}


@pytest.mark.parametrize("package", MAY_IMPORT)
def test_a_package_imports_only_what_lies_upstream(package: str) -> None:
    wrong = {
        f"{path.relative_to(ROOT)} imports {name}"
        for path in modules(package)
        for name in imports(path)
        if name.split(".")[0] not in MAY_IMPORT[package]
    }

    assert not wrong


def test_the_physics_imports_nothing_of_the_service() -> None:
    wrong = {
        f"{path.relative_to(ROOT)} imports {name}"
        for path in modules("simulator")
        if {path.stem, path.parent.name} & set(PURE_SIMULATOR)
        for name in imports(path)
        if not name.startswith("simulator")
    }

    assert not wrong


def test_rules_do_no_input_or_output_and_read_no_clock() -> None:
    forbidden = {"os", "io", "pathlib", "time", "datetime", "socket", "sqlite3", "logging", "random"}
    wrong = set()
    for path in modules("rules"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            wrong |= {f"{path.relative_to(ROOT)} imports {n}" for n in names if n.split(".")[0] in forbidden}

    assert not wrong


def test_only_the_command_table_names_downstream_packages_as_text() -> None:
    named = {
        path.relative_to(ROOT)
        for path in modules("collector")
        if any(f'"{package}.' in path.read_text(encoding="utf-8") for package in ("dashboard", "simulator"))
    }

    assert named <= {COMMAND_TABLE.relative_to(ROOT)}


def test_a_planted_forbidden_import_is_found(tmp_path: Path) -> None:
    planted = tmp_path / "planted.py"
    planted.write_text("def f():\n    from collector.store import shots\n", encoding="utf-8")

    assert imports(planted) == {"collector.store"}
