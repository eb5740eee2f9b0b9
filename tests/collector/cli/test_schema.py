"""The documents that a gateway's author reads are those the collector reads with."""

from __future__ import annotations

import json

import pytest

from collector.cli import main
from collector.contract.schema import json_schemas


@pytest.mark.parametrize("kind", list(json_schemas()))
def test_each_kind_is_printed_as_its_schema(kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["schema", kind])

    assert json.loads(capsys.readouterr().out) == json_schemas()[kind]


def test_without_a_kind_it_is_one_document_of_all(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["schema"])

    assert json.loads(capsys.readouterr().out)["asyncapi"].startswith("3.")


def test_an_unknown_kind_lists_the_known_ones(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["schema", "shott"])

    assert ended.value.code == 2
    assert "the kinds are shot" in capsys.readouterr().err
