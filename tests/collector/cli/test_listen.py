"""`evenrun listen` against a real Mosquitto, and `evenrun mapping test` on what it recorded."""

from __future__ import annotations

import json
import os
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import Client

from collector.cli import main
from collector.settings_mapping import read_mapping_text
from collector.sources.recorded import read_recorded
from tests.collector.contract.foreign import LISTED, NESTED, NESTED_MAPPING
from tests.collector.sources.mqtt_helpers import acknowledge_all, gateway, publish, source
from tests.mosquitto_fixtures import Mosquitto

pytestmark = pytest.mark.mosquitto


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, mosquitto: Mosquitto) -> Path:
    """A folder with settings for the broker and one mapping."""
    made = tmp_path / "shop"
    made.mkdir()
    monkeypatch.chdir(made)
    for name in [name for name in os.environ if name.startswith("EVENRUN_")]:
        monkeypatch.delenv(name)
    broker = f'[broker]\nport = {mosquitto.port}\npassword = "collector-secret"\n'
    (made / "evenrun.toml").write_text(broker + NESTED_MAPPING, encoding="utf-8")
    return made


def run(*words: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(words)
    return int(ended.value.code or 0)


def fresh(**changes: Any) -> dict[str, Any]:
    """The nested message with the time of now."""
    header = {**NESTED["header"], "ts": datetime.now(UTC).timestamp() * 1000}
    return {**NESTED, "header": header, **changes}


@contextmanager
def talking(client: Client, messages: list[tuple[str, bytes]]) -> Iterator[None]:
    """Publish the messages again and again, as a floor does, until the end."""
    stop = threading.Event()

    def talk() -> None:
        while not stop.wait(0.2):
            for topic, payload in messages:
                client.publish(topic, payload, qos=1)

    thread = threading.Thread(target=talk)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join()


def test_it_shows_records_and_proposes_and_stores_nothing(
    folder: Path, mosquitto: Mosquitto, capsys: pytest.CaptureFixture[str]
) -> None:
    messages = [
        ("plant/lowland/machine-7/cycle", json.dumps(fresh()).encode()),
        ("plant/lowland/machine-8/cycle", json.dumps(fresh(process={})).encode()),
        ("edge7/out", json.dumps({**LISTED, "end": datetime.now(UTC).isoformat()}).encode()),
        ("camera/1", b"\xff\xd8\x1b[31m"),
        ("evil", b'{"\\u001b[31m": "\\u001b[2J"}'),
    ]
    with gateway(mosquitto.port) as client, talking(client, messages):
        code = run("listen", "--seconds", "2", "--record", "heard.jsonl")
    said = capsys.readouterr().out

    assert code == 0
    assert re.search(r"becomes \d+ shots?, press P1", said)
    assert "refused:" in said
    assert "mapping 'hall': /process/injection/time_ms (the first of 5 values, none of which" in said
    assert "mapping 'hall':" in said
    assert "belongs to no mapping" in said
    assert "\x1b" not in said
    proposed = said[said.index("# from ") :]
    (found,) = read_mapping_text(proposed[: proposed.rindex("\n# no mapping")], "what was printed")
    assert (found.topic, found.press_pointer) == ("edge7/out", "/machine")
    assert sorted(path.name for path in folder.iterdir()) == ["evenrun.toml", "heard.jsonl"]

    counted = len(list(read_recorded(folder / "heard.jsonl")))
    code = run("mapping", "test", "heard.jsonl")
    said = capsys.readouterr().out
    taken, refused, foreign = map(int, re.findall(r"(\d+) (?:would be|refused,|belong)", said))

    assert code == 0
    assert taken + refused + foreign == counted
    assert min(taken, refused, foreign) > 0


def test_it_takes_nothing_from_the_collector(
    folder: Path, mosquitto: Mosquitto, capsys: pytest.CaptureFixture[str]
) -> None:
    with source(mosquitto.port) as opened, gateway(mosquitto.port) as client:
        listener = threading.Timer(0.3, publish, args=(client, range(20)))
        listener.start()
        code = run("listen", "--seconds", "2", "--topic", "evenrun/#")
        listener.join()

        assert code == 0
        assert opened.connected
        assert acknowledge_all(opened, 20) == list(range(20))
    assert "20 messages" in capsys.readouterr().out


def test_topics_can_be_chosen_and_silence_is_said(
    folder: Path, mosquitto: Mosquitto, capsys: pytest.CaptureFixture[str]
) -> None:
    with gateway(mosquitto.port) as client, talking(client, [("plant/x", b"1")]):
        assert run("listen", "--seconds", "0.6", "--topic", "yard/#", "--topic", "hall/+") == 0
    assert capsys.readouterr().out == "Nothing arrived.\n"


def test_a_broker_that_refuses_or_is_not_there_is_one_sentence(
    folder: Path, mosquitto: Mosquitto, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("EVENRUN_BROKER__PASSWORD", "wrong")
    assert run("listen", "--seconds", "1") == 2
    assert "check the broker's user and password settings" in capsys.readouterr().err
    monkeypatch.setenv("EVENRUN_BROKER__PORT", "1")
    assert run("listen", "--seconds", "1") == 2
    assert "cannot be reached" in capsys.readouterr().err


def test_a_broker_that_hangs_up_does_not_undo_what_was_heard(
    folder: Path, mosquitto: Mosquitto, capsys: pytest.CaptureFixture[str]
) -> None:
    with gateway(mosquitto.port) as client:
        client.publish("kept/1", b'{"cushion": 5}', qos=1, retain=True).wait_for_publish(10)
        end = threading.Timer(1.0, mosquitto.kill)
        end.start()
        code = run("listen", "--seconds", "20")
        end.join()
    told = capsys.readouterr()

    assert code == 2
    assert "ended the connection" in told.err
    assert "1 of them retained" in told.out


def test_a_record_is_not_written_over(
    folder: Path, mosquitto: Mosquitto, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("heard.jsonl").write_text("mine", encoding="utf-8")

    assert run("listen", "--seconds", "1", "--record", "heard.jsonl") == 2
    assert "is there already" in capsys.readouterr().err
    assert Path("heard.jsonl").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("text", ["#/x", "plant+/x", "a/b#", ""])
def test_what_is_no_topic_filter_is_one_sentence_before_anything_is_tried(
    text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """MQTT 3.1.1, 4.7.1: wildcards stand alone in their level, # only at the end."""
    with pytest.raises(SystemExit) as ended:
        main(["listen", "--topic", text])
    assert ended.value.code == 2
    assert capsys.readouterr().err.startswith(f"evenrun: --topic {text!r} is no topic filter; ")
