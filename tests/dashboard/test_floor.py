"""The floor: what is read, what is said, what is drawn."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree

import numpy as np
import pytest
import sqlalchemy as sa
import vl_convert
from PIL import Image

from collector.clock import wall_now
from collector.store import alarms as alarm_rows
from collector.store import database, tables
from dashboard.blocks import floor_tablet as tablet_screen
from dashboard.blocks import lane_marks
from dashboard.blocks.alarm_words import state_words
from dashboard.blocks.drawing import text
from dashboard.blocks.floor_lane import Setting, words
from dashboard.blocks.floor_screen import CSS, drawing, trouble
from dashboard.blocks.floor_tablet import tablet
from dashboard.blocks.floor_wall import wall
from dashboard.blocks.lane_words import (
    Sentence,
    act_words,
    counts,
    hold_words,
    sentence,
    span,
    stale_words,
)
from dashboard.blocks.text_width import fit, text_width, wrap
from dashboard.blocks.wall_rows import SETTINGS, rows, shared
from dashboard.queries.floor import read_floor
from dashboard.queries.floor_facts import Floor, Lane, Mark
from dashboard.queries.hold_extent import Held, merged

NOW = datetime(2026, 3, 3, 13, 52, tzinfo=UTC)
SVG = "{http://www.w3.org/2000/svg}"


def same(moment: datetime) -> datetime:
    return moment


def read(engine: sa.Engine, *, now: datetime = NOW, wall_time: datetime | None = None) -> Floor:
    with database.read(engine) as conn:
        return read_floor(conn, site="lowland", now=now, wall=wall_time or wall_now())


def said(floor: Floor, name: str) -> tuple[str, str, str, str]:
    lane = next(lane for lane in floor.lanes if lane.name == name)
    words = sentence(lane, floor.now, local=same, provisional_shots=25)
    return words.tone, words.headline, words.detail, words.act


def tree(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))


def drawn(floor: Floor) -> str:
    return wall(floor, local=same, provisional_shots=25, stop_cycles=5.0)


def test_every_kind_of_lane_says_its_own_sentence(six_presses: sa.Engine) -> None:
    floor = read(six_presses)
    assert [lane.name for lane in floor.lanes] == ["P1", "P2", "P3", "P4", "P5", "P6"]
    tone, headline, detail, _ = said(floor, "P1")
    assert (tone, headline) == ("calm", "steady")
    assert detail.startswith("shot 1,203 · 64.")
    tone, headline, detail, act = said(floor, "P2")
    assert (tone, headline) == ("signal", "Mold core 3.1 °C warmer")
    assert detail.startswith("since shot 994 (13:0")
    assert "often coolant line blocked" in detail
    assert act == "Hold trays 39 to 43, 47 discs"
    assert said(floor, "P3")[3] == "Hold tray 39, 3 discs"
    assert said(floor, "P4")[1:3] == ("starting, shot 35", "22 steady shots · limits from 25")
    tone, headline, detail, _ = said(floor, "P5")
    assert (tone, headline) == ("silent", "silent for 34 min")
    assert "last shot 1,876" in detail
    assert said(floor, "P6")[1] == "idle since 10:41"


def test_a_press_whose_clock_is_behind_is_not_silent_while_it_is_heard(six_presses: sa.Engine) -> None:
    with database.write(six_presses) as conn:
        own = sa.update(tables.presses).where(tables.presses.c.name == "P5")
        conn.execute(own.values(heard_at=NOW - timedelta(minutes=1)))

    assert said(read(six_presses), "P5")[0] != "silent"


@pytest.mark.parametrize(("name", "headline"), [("P5", "steady"), ("P6", "idle since 10:41")])
def test_a_press_known_from_files_only_is_never_silent(
    six_presses: sa.Engine, name: str, headline: str
) -> None:
    with database.write(six_presses) as conn:
        conn.execute(sa.update(tables.presses).where(tables.presses.c.name == name).values(heard_at=None))
    assert said(read(six_presses), name)[1] == headline
    later = said(read(six_presses, now=NOW + timedelta(hours=9)), name)
    assert (later[0], later[1].startswith("idle")) == ("calm", True)


@pytest.mark.parametrize(
    ("reasons", "named"),
    [
        (["Fits: peak melt pressure higher. Does not fit: barrel temperature unchanged.", "Fits: x."], "b"),
        (["Fits: x. Does not fit: y."], None),
        (["Fits: x."], "a"),
    ],
)
def test_a_lane_names_no_cause_that_its_own_evidence_contradicts(
    six_presses: sa.Engine, reasons: list[str], named: str | None
) -> None:
    causes = [{"cause": name, "reason": reason} for name, reason in zip("ab", reasons, strict=False)]
    with database.write(six_presses) as conn:
        conn.execute(sa.update(tables.alarms).values(causes=causes))
    lane = next(lane for lane in read(six_presses).lanes if lane.name == "P2")
    assert lane.alarm is not None
    assert lane.alarm.cause == named


def test_the_header_counts_what_the_floor_asks_for(six_presses: sa.Engine) -> None:
    floor = replace(read(six_presses), gaugings_due=12)
    assert counts(floor) == "2 need a look · 1 silent · 50 discs on hold · 12 gaugings due now"
    assert counts(replace(floor, lanes=floor.lanes[:1], gaugings_due=0)) == "nothing needs a look"


def test_discs_on_hold_and_silent_presses_need_a_look_without_an_alarm(six_presses: sa.Engine) -> None:
    floor = read(six_presses)
    quiet = tuple(replace(lane, alarms_open=0) for lane in floor.lanes)
    assert counts(replace(floor, lanes=quiet)) == "1 silent · 50 discs on hold"
    held = tuple(lane for lane in quiet if lane.activity != "silent")
    assert counts(replace(floor, lanes=held, gaugings_due=1)) == "50 discs on hold · 1 gauging due now"


def test_only_shots_of_the_last_two_hours_are_read_in_order(two_presses: sa.Engine) -> None:
    floor = read(two_presses)
    for lane in floor.lanes:
        times = [mark.at for mark in lane.marks]
        assert times == sorted(times)
        assert times[0] >= (NOW - timedelta(hours=2)).timestamp() * 1e6
        assert len(times) == 111  # two hours of 64.8 s


def test_every_query_of_the_floor_walks_an_index(two_presses: sa.Engine) -> None:
    """The plan names an index and no full scan of what grows, so stored history costs nothing."""
    seen: list[str] = []
    with database.read(two_presses) as conn:
        sa.event.listen(two_presses, "before_cursor_execute", lambda *call: seen.append(call[2]))
        read_floor(conn, site="lowland", now=NOW, wall=NOW)
    growing = {"shots", "runs", "alarms", "holds", "limits"}
    assert growing <= {name for statement in seen for name in re.findall(r"FROM (\w+)", statement)}
    with two_presses.connect() as raw:
        for statement in set(seen):
            arguments = tuple([1] * statement.count("?"))
            plan = raw.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", arguments).all()
            steps = [row[-1].split() for row in plan]
            assert not any(step[0] == "SCAN" and step[1] in growing for step in steps), (statement, plan)
            limits_walk = next((row[-1] for row in plan if "SEARCH limits" in row[-1]), "ix_limits_run")
            # By press it would pass all the limits of its past; those of a signal are one row each.
            assert "ix_limits_run" in limits_walk or "PRIMARY KEY" in limits_walk


def test_a_stopped_collector_is_told_in_words(store: sa.Engine, seed: Callable[..., None]) -> None:
    seed(store, ("P1",), alive=False)
    floor = read(store)
    assert stale_words(floor, same) == "The collector has stopped: nothing here is newer than 13:40."
    assert "The collector has stopped" in drawn(floor)


def test_a_collector_that_a_locked_database_keeps_silent_has_not_stopped(
    store: sa.Engine, seed: Callable[..., None]
) -> None:
    seed(store, ("P1",), alive=False)
    assert read(store).lanes[0].activity == "running"
    later = NOW + timedelta(minutes=30)
    assert read(store, now=later).lanes[0].activity == "silent"
    other = database.open_engine(str(store.url))
    with database.write(other):
        floor = read(store, now=later)
    other.dispose()
    said = "The database takes nothing in (see Service): nothing here is newer than 13:40."
    assert stale_words(floor, same) == said
    assert said in drawn(floor)
    assert floor.lanes[0].activity == "running"
    assert "silent" not in counts(floor)


def test_a_collector_that_never_ran_and_an_empty_floor_say_so(store: sa.Engine) -> None:
    floor = read(store)
    assert stale_words(floor, same) == "The collector has not run yet: no shot can arrive."
    assert "No press has reported yet" in drawn(floor)


def test_a_living_collector_is_not_mentioned(two_presses: sa.Engine) -> None:
    with database.write(two_presses) as conn:
        beat = tables.heartbeats
        conn.execute(sa.update(beat).values(wall_at=NOW))
    assert stale_words(read(two_presses, wall_time=NOW + timedelta(seconds=15)), same) == ""
    assert stale_words(read(two_presses, wall_time=NOW + timedelta(seconds=16)), same) != ""


def test_heights_are_straight_up_to_the_limit_and_end_at_three_limits() -> None:
    assert lane_marks.height(0.0) == 0.0
    assert lane_marks.height(0.5) == pytest.approx(lane_marks.height(1.0) / 2)
    assert lane_marks.height(1.0) == lane_marks.LIMIT_AT
    assert lane_marks.height(1.0) < lane_marks.height(1.5) < lane_marks.height(2.9) < 1.0
    assert lane_marks.height(3.0) == pytest.approx(1.0)
    assert lane_marks.height(50.0) == 1.0
    assert lane_marks.height(None) == lane_marks.FLAT_AT


def test_each_shot_becomes_one_mark_of_its_kind() -> None:
    area = lane_marks.Plot(0, 0, 100, 100, 0, 10)
    shots = [
        Mark(1, "startup", None, signaled=False),
        Mark(2, "baseline", None, signaled=False),
        Mark(3, "charted", 0.4, signaled=False),
        Mark(4, "charted", 2.0, signaled=True),
    ]
    svg = lane_marks.marks(area, shots, 8)
    found = dict(re.findall(r'class="([\w-]+)" d="([^"]+)"', svg))
    assert {name: path.count("M") for name, path in found.items()} == {
        "dot": 2, "ring": 1, "ring-hole": 1, "signal": 1,
    }  # fmt: skip
    assert found["dot"].startswith("M20.0 90.0h0M30.0 ")


def test_a_run_of_signals_is_a_yellow_band_with_a_dark_outline() -> None:
    """Drawn by another program than a browser (resvg): edges must not pile up to a dark bar."""
    area = lane_marks.Plot(0, 0, 400, 100, 0, 100)
    shots = [Mark(n, "charted", 1.4 + 0.1 * (n % 3), signaled=True) for n in range(10, 91)]
    look = "<style>.signal { fill: #f6b800; stroke: #1b1e23; stroke-linejoin: round; }</style>"
    marks = lane_marks.marks(area, shots, 9)
    picture = f'<svg xmlns="{SVG[1:-1]}" width="400" height="100">{look}{marks}</svg>'
    with Image.open(io.BytesIO(vl_convert.svg_to_png(picture, scale=2))) as opened:
        pixels = np.asarray(opened.convert("RGBA")).astype(int)
    solid = pixels[..., 3] > 250
    yellow = solid & (pixels[..., 0] > 200) & (pixels[..., 2] < 60)
    dark = solid & (pixels[..., 0] < 80)
    assert yellow.sum() > 2.5 * dark.sum()
    for column in range(120, 680):
        drawn_at = np.flatnonzero(solid[:, column])
        assert dark[drawn_at[0], column]
        assert dark[drawn_at[-1], column]
        assert yellow[drawn_at[len(drawn_at) // 2], column]


def test_the_hold_bar_begins_at_the_edge_when_the_hold_is_older_than_the_screen(
    two_presses: sa.Engine,
) -> None:
    floor = read(two_presses)
    lane = floor.lanes[1]
    area = lane_marks.plot(floor, 0, 0, 1000, 100)
    inside = lane_marks.hold_bars(area, lane, 100, 10)
    assert 'class="change"' in inside
    assert float(re.search(r'x="([\d.]+)"', inside)[1]) > 500  # type: ignore[index]
    older = replace(lane, hold=Held(((1, None),), 300, ()), alarm=None)
    assert 'x="0.0"' in lane_marks.hold_bars(area, older, 100, 10)


def test_what_no_shot_came_from_is_hatched(six_presses: sa.Engine) -> None:
    floor = read(six_presses)
    by_name = {lane.name: lane for lane in floor.lanes}
    area = lane_marks.plot(floor, 0, 0, 1200, 100)

    def hatched(name: str) -> list[tuple[float, float]]:
        return lane_marks.quiet_stretches(area, by_name[name], 5.0)

    assert hatched("P1") == []
    assert hatched("P6") == [(0.0, 1200.0)]
    ((left, right),) = hatched("P5")
    assert right == 1200.0
    assert left == pytest.approx(1200 * (1 - 0.57 / 2), abs=1)


@pytest.mark.parametrize("names", [("P2",), ("P1", "P2"), ("P1", "P2", "P3", "P4", "P5", "P6")])
def test_lanes_fill_the_wall_and_headlines_are_readable(
    store: sa.Engine, seed: Callable[..., None], names: tuple[str, ...]
) -> None:
    seed(store, names)
    svg = tree(drawn(read(store)))
    assert svg.get("viewBox") == "0 0 1920 1080"
    panels = [each for each in svg.iter(f"{SVG}rect") if each.get("class") == "panel"]
    assert len(panels) == len(names)
    last = panels[-1]
    assert float(last.get("y", 0)) + float(last.get("height", 0)) == pytest.approx(1062, abs=1)
    (headline,) = [each for each in svg.iter(f"{SVG}text") if each.text == "Mold core 3.1\u00a0°C warmer"]
    assert float(headline.get("font-size", 0)) >= 60  # 44 px capitals, 28 mm on a 55-inch screen


def test_lanes_are_alike_until_one_needs_more_and_always_fill_the_wall() -> None:
    assert shared([80, 90, 100], 300) == [100, 100, 100]
    assert shared([80, 90, 150], 340) == [95, 95, 150]
    assert shared([80, 130, 150], 370) == [90, 130, 150]
    assert shared([100, 200], 150) == pytest.approx([50, 100])
    assert shared([], 100) == []
    for wanted in ([80.0] * 9 + [180.0] * 3, [180.0] * 12, [80.0], [150.0, 80.0, 80.0, 150.0]):
        assert sum(shared(wanted, 850)) == pytest.approx(850)


@pytest.mark.parametrize("times", [1, 2, 3])
def test_of_many_lanes_those_with_an_alarm_stay_readable_and_inside_their_own(
    six_presses: sa.Engine, times: int
) -> None:
    """At least 20 pixels of 1080; in lanes of equal height the same words were set in 13."""
    floor = read(six_presses)
    lanes = floor.lanes * times if times < 3 else (floor.lanes[1],) * 12
    svg = tree(drawn(replace(floor, lanes=lanes)))
    assert svg.get("viewBox") == "0 0 1920 1080"
    panels = [each for each in svg.iter(f"{SVG}rect") if each.get("class") == "panel"]
    edges = [(float(p.attrib["y"]), float(p.attrib["y"]) + float(p.attrib["height"])) for p in panels]
    lines = [each for each in svg.iter(f"{SVG}text") if float(each.attrib["y"]) > 130]
    for line in lines:
        base, size = float(line.attrib["y"]), float(line.attrib["font-size"])
        assert any(top <= base - 0.72 * size and base <= bottom for top, bottom in edges), line.text
    details = [line for line in lines if str(line.text).startswith("since")]
    assert details
    assert min(float(line.attrib["font-size"]) for line in details) >= 20 * (1 if times < 3 else 0.8)


def test_words_of_a_low_lane_do_not_cover_each_other() -> None:
    told = Sentence("signal", "Mold core 3.1 °C warmer", "since shot 994 (13:03)", "Hold tray 3, 3 discs")
    for count in range(1, 20):
        for row in rows([told] * count, top=0, room=max(930 - 8 * count, 56 * count), gap=8):
            assert sum(block.height for block in row.words) < row.height - 6


def test_a_detail_breaks_between_its_parts() -> None:
    detail = "since shot 996 (13:05) · inside limits again · often check ring did not seat"
    shown = words(Sentence("signal", "Cushion low", detail), SETTINGS[0])[1]
    plain = [line.replace("\N{NO-BREAK SPACE}", " ") for line in shown.lines]
    assert plain == ["since shot 996 (13:05) · inside limits again", "often check ring did not seat"]


@pytest.mark.parametrize("setting", SETTINGS)
def test_what_does_not_fit_is_left_out_as_a_whole(setting: Setting) -> None:
    more = [f"zone {number} of the barrel 2.4 °C cooler" for number in range(6)]
    parts = ["since shot 996 (13:05)", *more, "often heater band of the barrel failed"]
    said = Sentence("signal", "Cushion low", " \u00b7 ".join(parts))
    def plain(texts: Sequence[str]) -> str:
        return " ".join(texts).replace("\N{NO-BREAK SPACE}", " ").replace(" \u00b7", "")

    shown = plain(words(said, setting)[1].lines)
    assert shown in [plain(parts[:count]) for count in range(2, len(parts))]


@pytest.mark.parametrize(("kind", "over"), [("gauging", "gauged"), ("process", "inside limits again")])
def test_the_floor_says_that_a_condition_is_over_as_the_alarms_page_does(
    six_presses: sa.Engine, kind: str, over: str
) -> None:
    with database.write(six_presses) as conn:
        conn.execute(sa.update(tables.alarms).values(kind=kind, state="returned_unacknowledged"))
        [row, *_] = alarm_rows.unclosed(conn)
    assert over in said(read(six_presses), "P2")[2].split(" \u00b7 ")
    assert over in state_words(row)


def test_many_lanes_make_the_page_longer_rather_than_unreadable(two_presses: sa.Engine) -> None:
    floor = read(two_presses)
    svg = tree(drawn(replace(floor, lanes=floor.lanes * 20)))
    assert "tall" in str(svg.get("class"))
    assert float(str(svg.get("viewBox")).split()[3]) > 1080


def test_names_from_messages_cannot_become_markup(two_presses: sa.Engine) -> None:
    floor = read(two_presses)
    assert floor.lanes[1].alarm is not None
    evil = '<script>alert("x")</script>'
    lane = replace(
        floor.lanes[1],
        name=evil,
        alarm=replace(floor.lanes[1].alarm, headline=evil, cause=evil),
        run=None if floor.lanes[1].run is None else replace(floor.lanes[1].run, name=evil),
    )
    html = drawing(replace(floor, lanes=(lane,)), local=same, provisional_shots=25, stop_cycles=5.0)
    assert "<script" not in html
    assert "&lt;script&gt;" in html
    assert text(0, 0, 1, 'a"b<c').endswith("a&quot;b&lt;c</text>")


def test_the_headline_shows_what_moved_first_and_the_rest_stands_below(two_presses: sa.Engine) -> None:
    _, headline, detail, _ = said(read(two_presses), "P2")
    assert ";" not in headline
    assert "cushion 0.2 mm lower" in detail


def test_two_lanes_use_the_whole_height_of_a_tablet(two_presses: sa.Engine) -> None:
    svg = tablet(read(two_presses), local=same, provisional_shots=25, stop_cycles=5.0)
    drawing_of = tree(svg)
    assert drawing_of.attrib["viewBox"] == f"0 0 {tablet_screen.WIDTH} {tablet_screen.HEIGHT}"
    panels = [each for each in drawing_of.iter(f"{SVG}rect") if "panel" in each.attrib.get("class", "")]
    bottoms = [float(each.attrib["y"]) + float(each.attrib["height"]) for each in panels]
    assert len(bottoms) == 2
    assert tablet_screen.HEIGHT - 30 < max(bottoms) <= tablet_screen.HEIGHT


def test_overlapping_holds_count_each_disc_once() -> None:
    assert merged([(5, 9), (1, 3), (4, 4), (20, None), (25, 30)]) == ((1, 9), (20, None))
    assert merged([(1, None), (3, 4)]) == ((1, None),)
    assert hold_words(Held()) == ""
    assert hold_words(Held(((1, 1),), 1, ())) == "Hold 1 disc"


def test_trays_on_hold_that_do_not_follow_one_another_fit_one_line_of_a_lane_among_six() -> None:
    trays = tuple(f"P2-{n}" for n in (182, 183, 184, 198, 199, 200, 201, 202))
    act = hold_words(Held(((1, 155),), 155, trays))
    assert act == "Hold trays P2-182 to P2-184 and 5 more, 155 discs"
    shown = words(Sentence("calm", "steady", act=act), SETTINGS[1])[-1]
    assert [line.replace("\N{NO-BREAK SPACE}", " ") for line in shown.lines] == [act]
    assert hold_words(Held(((1, 9),), 9, ("41", "42", "44"))) == "Hold trays 41 to 42 and 44, 9 discs"


def test_a_lane_names_the_trays_of_its_own_alarm_before_older_holds(two_presses: sa.Engine) -> None:
    """Trays of an older alarm under a new headline would send somebody to the wrong ones."""
    lane = read(two_presses).lanes[1]
    assert lane.alarm is not None
    assert lane.alarm_hold == lane.hold
    older = Held(((1, 230), (300, 300)), 231, ("P2-180", "P2-181", "P2-234"))
    newer = replace(lane, hold=older, alarm_hold=Held(((300, 300),), 1, ("P2-234",)))
    act = act_words(newer)
    assert act == "Hold tray P2-234, 1 disc \N{MIDDLE DOT} 230 older held"
    assert act_words(replace(newer, alarm_hold=Held())) == "231 older held"
    long = replace(newer, alarm_hold=Held(((1, 155),), 155, tuple(f"P2-{n}" for n in range(182, 200, 2))))
    told = Sentence("calm", "steady", act=act_words(long))
    shown = words(told, SETTINGS[1])[-1]
    assert [line.replace("\N{NO-BREAK SPACE}", " ") for line in shown.lines] == [act_words(long)]


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0 s"),
        (89, "89 s"),
        (90, "2 min"),
        (34 * 60, "34 min"),
        (7200, "2 h"),
        (3 * 86400, "3 days"),
        (-5, "0 s"),
    ],
)
def test_spans_use_one_unit(seconds: float, words: str) -> None:
    assert span(timedelta(seconds=seconds)) == words


def test_lines_break_at_spaces_but_never_between_a_number_and_its_unit() -> None:
    for width in range(100, 900, 20):
        for line in wrap("Mold core 3.1 °C warmer, 47 discs", 40, width):
            assert not line.endswith("3.1")
            assert not line.endswith("47")


def test_text_is_made_smaller_before_it_is_cut() -> None:
    lines, size = fit("Peak melt pressure higher", width=400, sizes=(64, 48, 32))
    assert (lines, size) == (["Peak melt pressure higher"], 32)
    lines, size = fit("Peak melt pressure 4.1 MPa higher than usual", width=300, sizes=(64, 48, 32))
    assert lines[0].endswith("…")
    assert text_width(lines[0], size) <= 300


def test_both_themes_keep_the_contrast_of_the_guideline() -> None:
    """WCAG 2.2: text 4.5 to 1 (1.4.3), graphics 3 to 1 (1.4.11); limits from memory."""
    for block in re.findall(r"\{([^}]*--page[^}]*)\}", CSS):
        color = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", block))
        for ground in ("page", "panel"):
            for ink in ("ink", "muted", "act"):
                assert _contrast(color[ink], color[ground]) >= 4.5, (ink, ground)
        assert _contrast(color["dot"], color["panel"]) >= 3
        edge, fill = _contrast(color["edge"], color["panel"]), _contrast(color["signal"], color["panel"])
        assert max(edge, fill) >= 3


def _contrast(one: str, other: str) -> float:
    def luminance(color: str) -> float:
        channels = [int(color[index : index + 2], 16) / 255 for index in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
        return sum(weight * c for weight, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))

    low, high = sorted([luminance(one), luminance(other)])
    return (high + 0.05) / (low + 0.05)


def test_presses_stand_in_the_order_people_count(two_presses: sa.Engine) -> None:
    with database.write(two_presses) as conn:
        conn.execute(sa.insert(tables.presses), [{"site": "lowland", "name": name} for name in ("P10", "P3")])
        conn.execute(sa.insert(tables.presses).values(site="elsewhere", name="P4"))
    lanes: tuple[Lane, ...] = read(two_presses).lanes
    assert [lane.name for lane in lanes] == ["P1", "P2", "P3", "P10"]
    assert sentence(lanes[-1], NOW, local=same, provisional_shots=25).headline == "no run yet"


def test_a_store_that_cannot_be_read_is_said_in_both_layouts() -> None:
    picture = trouble("the database is locked; try again in a moment")
    assert picture.count("The store cannot be read") == 2
    assert picture.count("the database is locked; try again in a moment") == 2
