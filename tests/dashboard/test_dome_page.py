"""The dome page: what it reads, what it draws, what it says, and that it says nothing it cannot."""

import re
from datetime import timedelta

import numpy as np
import pandas as pd
import pytest
import sqlalchemy as sa
import vl_convert
from streamlit.testing.v1 import AppTest

from collector.gauging.model import NewGauging
from collector.gauging.record import record
from collector.settings import Tolerance
from collector.store import database, tables
from dashboard.blocks import dome_tables, dome_words
from dashboard.charts import dome as charts
from dashboard.queries import dome as queries
from dashboard.queries import dome_flags
from rules.dome.effect import Effect, effects
from rules.dome.link import compare
from rules.dome.skill import assess
from rules.dome.welch import Interval
from tests.dashboard.conftest import NOW
from tests.dashboard.gauging_floor import gauge, old_run

PAGE = "../../dashboard/app_pages/dome.py"
DOME = queries.Scope(characteristic="dome")


@pytest.fixture
def ids(store, seed):
    """A run of P2 with a warm stretch, half its discs gauged 40 h later, beside two live presses."""
    seed(store)
    made = old_run(store, NOW)
    gauge(store, made, NOW)
    return made


def read(store, scope=DOME):
    with database.read(store) as conn:
        return queries.readings(conn, scope)


def run_page():
    return AppTest.from_file(PAGE, default_timeout=30).run()


def texts(page):
    return [each.value for each in (*page.header, *page.markdown, *page.info)]


def test_discs_carry_what_flagged_them(store, ids):
    discs = read(store).discs
    inside = set(ids[60:96])
    assert len(discs) == 60
    assert set(discs.loc[discs["on_hold"], "shot_id"]) == {i for i in inside if (i - ids[0]) % 2 == 0}
    assert discs.loc[discs["signaled"], "shot_id"].min() == ids[66]


def test_a_growing_hold_of_today_does_not_reach_back_to_older_shots_that_were_stored_later(store, ids):
    discs = read(store).discs
    assert not discs.loc[discs["shot_id"] > ids[95], "on_hold"].any()


def test_a_disc_before_the_first_signal_was_flagged_when_that_signal_came(store, ids):
    discs = read(store).discs.set_index("shot_id")
    early, signaling = discs.loc[ids[60]], discs.loc[ids[70]]
    assert early["age_h"] - early["lead_h"] == pytest.approx(6 / 60)
    assert signaling["lead_h"] == pytest.approx(signaling["age_h"])


def test_a_disc_gauged_twice_counts_once_by_its_mean(store, ids):
    gauge(store, ids[:1], NOW, every=1, ago_h=0.5, dome=lambda index: 9.0)
    discs = read(store).discs
    first = discs[discs["shot_id"] == ids[0]]
    with database.read(store) as conn:
        values = conn.execute(
            sa.select(tables.gaugings.c.value).where(tables.gaugings.c.shot_id == ids[0])
        ).scalars().all()  # fmt: skip
    assert len(first) == 1
    assert first["value"].item() == pytest.approx(np.mean(values))


def test_readings_that_cannot_be_compared_are_apart_each_with_its_reason(store, ids):
    young = old_run(store, NOW, name="R-0403", press="P3", hours=4)
    gauge(store, young, NOW, every=40)
    new = [
        NewGauging(site="lowland", characteristic="dome", value=2.0, unit="mm", **names)
        for names in (
            {"press": "P2", "counter": 20, "run": "R-0401"},
            {"tray": "70", "run": "R-0401", "gauged_at": NOW},
            {"press": "P2", "counter": 99_999, "gauged_at": NOW},
        )
    ]
    with database.write(store) as conn:
        record(conn, new, now=NOW, source="test")
    counts = read(store).apart["reason"].value_counts().to_dict()
    assert counts == {
        "gauged before its set time": 3, "age not known": 1, "names a tray, no single disc": 1,
        "waits for its shot": 1,
    }  # fmt: skip


def test_a_withdrawn_reading_is_nowhere(store, ids):
    with database.write(store) as conn:
        conn.execute(sa.update(tables.gaugings).values(withdrawn_at=NOW))
    found = read(store)
    assert (len(found.discs), len(found.apart)) == (0, 0)


def test_filters_narrow_by_press_mold_run_and_time(store, ids):
    other = old_run(store, NOW, name="R-0402", press="P1", mold="Alder 9", hours=60)
    gauge(store, other, NOW, every=4, ago_h=30.0)
    scopes = {
        "press": {"press": "P1"}, "mold": {"mold": "Alder 9"}, "run": {"run": "R-0402"},
        "until": {"until": NOW - timedelta(hours=20)},
    }  # fmt: skip
    for names in scopes.values():
        assert len(read(store, queries.Scope(characteristic="dome", **names)).discs) == 30
    assert len(read(store, queries.Scope(characteristic="dome", since=NOW - timedelta(hours=20))).discs) == 60


def test_a_hold_that_a_gauging_opened_flags_nothing(store, ids):
    with database.write(store) as conn:
        conn.execute(sa.update(tables.alarms).values(kind="gauging"))
    assert not read(store).discs["on_hold"].any()


def test_flags_are_told_apart_by_characteristic(store, ids):
    discs = read(store).discs
    with database.read(store) as conn:
        flags = dome_flags.flags_by_key(conn, discs)
    assert list(flags) == ["mold_core_temperature"]
    assert sum(flags["mold_core_temperature"]) == 18


def test_shots_values_come_in_the_order_asked_for(store, ids):
    with database.read(store) as conn:
        frame = queries.shot_columns(conn, [ids[5], ids[0]])
    assert list(frame["cushion"]) == pytest.approx([6.15, 6.10])


def test_everything_the_page_reads_is_the_same_on_both_databases(engine, seed):
    seed(engine)
    made = old_run(engine, NOW)
    gauge(engine, made, NOW)
    found = read(engine)
    with database.read(engine) as conn:
        assert queries.characteristics(conn) == ["dome", "weight"]  # the order of the gauging page
        assert queries.choices(conn, "dome")[["press", "mold", "run"]].values.tolist() == [
            ["P2", "Larch 5", "R-0401"]
        ]
        assert len(queries.shot_columns(conn, list(found.discs["shot_id"]))) == 60
        assert sum(dome_flags.flags_by_key(conn, found.discs)["mold_core_temperature"]) == 18
    assert found.discs["on_hold"].sum() == 18


def test_the_page_says_the_difference_first_with_unit_interval_and_counts(ids):
    page = run_page()
    assert not page.exception
    sentence = page.header[0].value
    assert sentence.startswith("Flagged discs dome 0.")
    assert sentence.endswith("18 flagged and 42 unflagged discs of 1 run.")
    assert "mm higher (" in sentence
    assert ", 95 %)" in sentence
    assert any(
        "mold core temperature: 0." in text and "mm higher for each °C more" in text for text in texts(page)
    )


def test_the_definition_of_flagged_is_said_and_can_be_chosen(ids):
    page = run_page()
    page.segmented_control(key="dome_flag").set_value("signal").run()
    assert any("A disc is flagged when its shot signaled." in text for text in texts(page))
    assert "15 flagged and 45 unflagged" in page.header[0].value


def test_without_a_tolerance_the_page_says_how_to_set_one_and_gives_no_share(ids):
    page = run_page()
    assert any('[tolerance."Larch 5".dome]' in text for text in texts(page))
    assert len(page.table) == 1


def test_with_a_tolerance_the_skill_of_each_flag_is_shown(ids, tmp_path):
    (tmp_path / "evenrun.toml").write_text('[tolerance."Larch 5".dome]\nlow = 1.7\nhigh = 2.6\n')
    page = run_page()
    assert not page.exception
    assert any(text.startswith("Of 1") and "had been flagged (" in text for text in texts(page))
    assert list(page.table[-1].value.index) == ["Any flag", "Mold core temperature"]


def test_a_gauge_sigma_is_carried_into_the_words(ids):
    page = run_page()
    page.number_input(key="dome_sigma").set_value(0.04).run()
    assert any("The gauge (sigma 0.04 mm) accounts for" in text for text in texts(page))


def test_the_page_of_weight_tells_the_disc_from_the_scale_at_the_press(ids):
    page = run_page()
    assert [each.value for each in page.title] == ["Dome"]
    page.segmented_control(key="dome_characteristic").set_value("weight").run()
    assert not page.exception
    captions = [each.value for each in page.caption]
    told = "Weight: one disc without its sprue. Part weight: all discs of the shot, weighed at the press."
    assert told in captions


def test_before_anything_is_gauged_the_page_says_where_readings_come_from(store, seed):
    seed(store, ())
    page = run_page()
    assert not page.exception
    assert "No disc has been gauged yet" in page.info[0].value


def test_with_few_flagged_discs_the_page_gives_the_reason_and_no_number(store, seed):
    seed(store)
    made = old_run(store, NOW)
    gauge(store, made, NOW, every=12)
    page = run_page()
    assert not page.exception
    assert page.header[0].value == (
        "Nothing can be said yet about the dome of flagged discs: 3 flagged of at least 5 gauged."
    )


def test_only_provisional_readings_leave_an_honest_empty_page(store, seed):
    seed(store)
    gauge(store, old_run(store, NOW, hours=3), NOW)
    page = run_page()
    assert not page.exception
    assert any("60 gauged before their set time" in text for text in texts(page))


def test_filters_that_leave_nothing_say_so(store, seed):
    seed(store)
    gauge(store, old_run(store, NOW, hours=24 * 12), NOW, ago_h=24.0 * 9)
    page = run_page()
    page.segmented_control(key="dome_days").set_value("7 days").run()
    assert not page.exception
    assert page.info[0].value.startswith("Nothing was gauged here in the last 7 days")


def test_a_filter_on_the_page_narrows_its_sentence(store, ids):
    gauge(store, old_run(store, NOW, name="R-0402", press="P1", mold="Alder 9"), NOW)
    page = run_page()
    assert page.header[0].value.endswith("of 2 runs.")
    page.selectbox(key="dome_mold").set_value("Alder 9").run()
    assert page.header[0].value.endswith("of 1 run.")


def test_another_characteristic_has_its_own_unit_and_words(ids):
    page = run_page()
    page.segmented_control(key="dome_characteristic").set_value("weight").run()
    assert not page.exception
    assert page.number_input(key="dome_sigma").label == "Gauge sigma, g"


def frames():
    discs = pd.DataFrame({
        "value": [2.0, 2.1, 2.7, 2.8], "group": ["not flagged"] * 2 + ["flagged"] * 2, "series": ["R1"] * 4,
        "disc": list("abcd"),
    })  # fmt: skip
    means = pd.DataFrame({
        "series": ["R1", "R1"], "group": ["flagged", "not flagged"], "n": [2, 2], "mean": [2.75, 2.05],
        "low": [None, None], "high": [None, None],
    })  # fmt: skip
    return discs, means


def test_the_chart_tells_groups_apart_by_shape_as_well_as_color_and_names_its_unit():
    chart = charts.readings(*frames(), label="Dome", unit="mm", limits=[1.7, 2.6]).to_dict()
    points = chart["layer"][0]["encoding"]
    assert points["shape"]["scale"] == {"domain": ["not flagged", "flagged"], "range": ["circle", "diamond"]}
    assert points["fill"]["scale"]["range"] == [charts.GRAY[False], charts.YELLOW]
    assert points["y"]["axis"]["title"] == "Dome, mm"
    assert len(chart["layer"]) == 4


def test_the_same_discs_give_the_same_picture_and_few_hide_one_another():
    discs, _ = frames()
    placed = charts.beside(discs)
    assert placed.equals(charts.beside(discs))
    assert placed["side"].nunique() == 4
    assert (placed.loc[placed["group"] == "flagged", "side"] > 0).all()


def test_the_chart_of_effects_has_a_line_at_zero_and_its_unit():
    frame = pd.DataFrame({
        "name": ["Cushion"], "estimate": [0.1], "low": [-0.1], "high": [0.3], "slope": ["s"],
        "certainty": ["weak"],
    })  # fmt: skip
    chart = charts.effects(frame, label="Dome", unit="mm").to_dict()
    assert chart["layer"][1]["encoding"]["x"]["axis"]["title"] == "Change of dome over one usual spread, mm"


def said(values, flagged, runs=None):
    return dome_words.difference(compare(values, flagged, runs or ["R"] * len(values)), "dome")


def test_a_lower_dome_is_said_without_minus_signs():
    rng = np.random.default_rng(3)
    values = np.concatenate([rng.normal(2.0, 0.1, 20), rng.normal(2.5, 0.1, 30)])
    words = said(values, [True] * 20 + [False] * 30)
    assert " mm lower (" in words
    assert "-" not in words


def test_an_interval_that_holds_zero_is_not_called_a_difference():
    rng = np.random.default_rng(4)
    words = said(rng.normal(2.0, 0.1, 50), [True] * 20 + [False] * 30)
    assert words.startswith("No certain difference in dome:")
    assert words.endswith("the interval holds zero.")


@pytest.mark.parametrize(
    ("slope", "words"),
    [
        ((-0.07, -0.15, 0.01), "0.07 mm lower for each g more (0.01 mm higher to 0.15 mm lower)"),
        ((0.07, -0.01, 0.15), "0.07 mm higher for each g more (0.01 mm lower to 0.15 mm higher)"),
        ((-0.07, -0.11, -0.03), "0.070 mm lower for each g more (0.030 to 0.110 mm)"),
    ],
)
def test_both_ends_of_an_interval_are_said_on_the_side_of_the_estimate_or_with_their_own(slope, words):
    found = Effect(
        key="part_weight", certainty="weak", reasons=(), n=40, runs=1, slope=Interval(*slope),
        over_spread=None,
    )  # fmt: skip
    assert dome_words.effect(found, "dome") == words


def test_no_clear_effect_is_said_as_such():
    rng = np.random.default_rng(5)
    found = effects(rng.normal(2, 0.1, 40), {"cushion": rng.normal(6, 0.1, 40)}, ["R"] * 40)
    assert dome_words.strongest(found, "dome") == "Dome goes along with none of 1 characteristics clearly."


def test_further_clear_effects_are_counted_in_words():
    rng = np.random.default_rng(6)
    cause = rng.normal(0, 1, 60)
    same = {key: cause + rng.normal(0, 0.05, 60) for key in ("cushion", "injection_time", "recovery_time")}
    runs = ["R"] * 60
    assert ", and with 2 more characteristics." in dome_words.strongest(effects(cause, same, runs), "dome")
    same.pop("cushion")
    assert ", and with 1 more characteristic." in dome_words.strongest(effects(cause, same, runs), "dome")


def test_several_readings_left_out_are_said_in_the_plural():
    words = dome_words.apart(["waits for its shot"] * 3 + ["gauged before its set time"], "dome", 0)
    assert "3 wait for their shot, 1 gauged before its set time." in words


def test_a_skill_of_too_few_bad_discs_is_a_reason():
    words = dome_words.skill(assess([True, False], [True, False], [25.0, 25.0]))
    assert words.startswith("How often a flag foretells a bad disc cannot be said yet: 1 of at least 5")


def test_tolerance_lines_are_drawn_only_where_all_molds_share_them():
    tolerances = {"Larch 5": {"dome": Tolerance(low=1.7, high=2.6)}, "Alder 9": {"dome": Tolerance(high=3.0)}}
    one, two = pd.DataFrame({"mold": ["Larch 5"]}), pd.DataFrame({"mold": ["Larch 5", "Alder 9"]})
    assert dome_tables.common_limits(one, tolerances, "dome") == [1.7, 2.6]
    assert dome_tables.common_limits(two, tolerances, "dome") == []


def test_the_names_of_two_limits_that_lie_close_together_do_not_run_into_one_another():
    chart = charts.readings(*frames(), label="Dome", unit="mm", limits=[2.40, 2.42]).to_dict()
    drawn = vl_convert.vegalite_to_svg(chart)
    heights = [float(y) for y in re.findall(r"translate\([\d.]+,([\d.]+)\)[^>]*>tolerance<", drawn)]
    assert len(heights) == 2
    assert abs(heights[0] - heights[1]) > 13, "the height of a letter, px"


def test_the_page_says_which_holds_flag_no_disc(ids):
    assert any("hold of a gauging out of tolerance does not count" in text for text in texts(run_page()))


def test_each_disc_is_judged_by_the_tolerance_of_its_own_mold():
    tolerances = {"Larch 5": {"dome": Tolerance(low=1.7, high=2.6)}, "Alder 9": {"dome": Tolerance(high=3.0)}}
    discs = pd.DataFrame({"mold": ["Larch 5", "Alder 9", None], "value": [2.8, 2.8, 2.8]})
    known, out = dome_tables.judge(discs, tolerances, "dome", None)
    assert (list(known), out) == ([True, True, False], [True, False])
