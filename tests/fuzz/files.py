"""Fragments of CSV files: what presses write, mangled, with a profile that fits it and with none."""

from __future__ import annotations

from hypothesis import strategies as st

from collector.contract.mapping import GaugingProfile, ShotProfile
from collector.sources import profiles
from tests.fuzz.mangling import mangled

Profile = ShotProfile | GaugingProfile

SEMICOLONS = """\
Date;Time;Shot;Pmax;Cushion;T Core;Lid
24.11.2026;10:00:00;1021;742,5;6,10;42,1;
24.11.2026;10:01:00;1022;743,0;6,08;42,0;x
24.11.2026;10:02:00;1023;0;6,12;42,2;"a;b"

24.11.2026;10:03:00;1024;741,5;---;42,1;
24.11.2026;10:04:00;1;742,0;6,09;42,3;
""".encode("latin-1")
SEMICOLONS_PROFILE = """
kind = "shots"
press = "P3"
run = "R-1"
mold = "Rowan 7"
delimiter = ";"
decimal_mark = ","
encoding = "latin-1"
counter_column = "Shot"
missing = ["---"]
skip_blank_rows = true

[time]
columns = ["Date", "Time"]
order = "day-first"
zone = "Europe/Berlin"

[[values]]
key = "peak_melt_pressure"
column = "Pmax"
unit = "bar"
zero_means_not_written = true

[[values]]
key = "cushion"
column = "Cushion"
unit = "mm"

[[values]]
key = "mold_core_temperature"
column = "T Core"
unit = "degC"
"""

COMMAS = b"""\
time,press,n,"cycle time","part weight.1","part weight.2"
s,,,s,g,g
2026-11-24T10:00:00Z,P4,51,48.22,174.3,174.1
2026-11-24T10:00:48Z,P4,52,48.19,174.4,174.0
2026-11-24T10:01:36Z,P4,53,48.23,174.6,173.9
"""
COMMAS_PROFILE = """
kind = "shots"
run = "R-2"
press_column = "press"
counter_column = "n"
header_rows = 2

[time]
columns = ["time"]
order = "iso"

[[values]]
key = "cycle_time"
column = "cycle time"
unit = "s"

[[values]]
key = "part_weight.1"
column = "part weight.1"
unit = "g"
"""

GAUGINGS = b"""\
when,shot,dome,diameter
2026-11-25 10:00:00,1021,2.81,211.9
2026-11-25 10:00:20,1022,2.79,211.8
2026-11-25 10:00:40,1023,n/a,211.9
"""
GAUGINGS_PROFILE = """
kind = "gaugings"
press = "P3"
link = "counter"
counter_column = "shot"
missing = ["n/a"]
gauge = "height gauge 1"
definition = "rim plane, light contact"
who = "operator 1"

[time]
columns = ["when"]
order = "iso"
zone = "UTC"

[[characteristics]]
key = "dome"
column = "dome"
unit = "mm"
"""

SOURCES: tuple[tuple[bytes, Profile], ...] = tuple(
    (text, profiles.parse(profile, "the fuzzer's"))
    for text, profile in (
        (SEMICOLONS, SEMICOLONS_PROFILE), (COMMAS, COMMAS_PROFILE), (GAUGINGS, GAUGINGS_PROFILE)
    )
)
SEEDS = st.integers(0, 2**48)

_sources = st.sampled_from(SOURCES)
_codes = st.sampled_from(["latin-1", "utf-16", "utf-16-le", "utf-8-sig"])

cases: st.SearchStrategy[tuple[bytes, Profile]] = st.one_of(
    st.builds(lambda source, seed: (mangled(source[0], seed), source[1]), _sources, SEEDS),
    st.builds(
        lambda source, seed: (mangled(mangled(source[0], seed), seed + 1), source[1]), _sources, SEEDS
    ),
    st.builds(
        lambda source, seed, code: (mangled(source[0].decode("latin-1").encode(code), seed), source[1]),
        _sources, SEEDS, _codes,
    ),
    st.tuples(st.binary(max_size=200), _sources.map(lambda source: source[1])),
)
