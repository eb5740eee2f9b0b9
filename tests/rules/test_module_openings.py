"""Does every module of the arithmetic say first which question it answers, and from which source?

Our own demand on the package; no source. A package that only gathers modules may point to theirs.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "rules"
MODULES = sorted(path for path in PACKAGE.rglob("*.py"))
QUESTION = re.compile(r"^(How|What|Which|Where|When|Whether|Who|Is|Are|Has|Have|Do|Does|Did|Between)\b|\?")
SOURCE = re.compile(r"\bReferences\b|\bSource:|\bno source\b|\((1[89]|20)\d\d\)")
SOURCE_OF_A_PACKAGE = re.compile(rf"{SOURCE.pattern}|\bsources?\b")


def _opening(path: Path) -> str:
    return ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_a_module_says_its_question_and_its_source(path: Path) -> None:
    opening = _opening(path)
    wanted = SOURCE_OF_A_PACKAGE if path.name == "__init__.py" else SOURCE

    assert QUESTION.search(opening.partition("\n\n")[0]), "begin with the question the module answers"
    assert wanted.search(opening), "name the published source, or say that there is none"


def test_the_modules_are_found() -> None:
    assert PACKAGE / "charts" / "cusum.py" in MODULES


@pytest.mark.parametrize("opening", ["Helpers.", "Does things to values."])
def test_an_opening_without_a_source_would_be_told(opening: str) -> None:
    assert not SOURCE.search(opening)
