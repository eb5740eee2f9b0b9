"""Who stands where in the invented shop: press, machine, mold, blend, recipe and its settings."""

from dataclasses import dataclass

from simulator.materials import BLENDS
from simulator.plant import MOLDS, Machine, Settings
from simulator.stages import Setup

SITE = "lowland"
TRAY_SIZE = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Post:
    """One press and the job on it.

    `other_lot` is the next lot of the blend in the store room; `unreported` are values that the press has no
    sensor for.
    """

    press: str
    number: int
    setup: Setup
    recipe: str
    lot: str
    other_lot: str
    color: str
    unreported: frozenset[str] = frozenset()


def _machine(**changes: float) -> Machine:
    usual = {
        "screw_diameter_m": 0.050,
        "greatest_melt_pressure_mpa": 160.0,
        "motion_time_s": 4.0,
        "mold_open_time_s": 8.0,
        "clamp_force_kn": 900.0,
    }
    return Machine(**{**usual, **changes})


def _settings(*, zones_c: tuple[float, float, float], **changes: float) -> Settings:
    usual = {
        "injection_speed_mm_s": 40.0,
        "injection_pressure_limit_mpa": 90.0,
        "switchover_position_mm": 9.5,
        "hold_pressure_mpa": 40.0,
        "hold_time_s": 10.0,
        "cooling_time_s": 38.0,
        "screw_start_position_mm": 87.5,
        "screw_speed_per_min": 60.0,
        "back_pressure_mpa": 10.0,
        "coolant_supply_temperature_c": 20.0,
    }
    return Settings(barrel_temperatures_c=zones_c, **{**usual, **changes})


_SOFT = (190.0, 195.0, 200.0)
_OLEFIN = (205.0, 215.0, 225.0)

# mold, blend, the usual lot and the next one, color, machine, settings
_JOBS = (
    ("Alder 9", "B", ("4463", "4471"), "orange", _machine(), _settings(zones_c=_SOFT)),
    (
        "Larch 5",
        "A",
        ("3118", "3125"),
        "white",
        _machine(mold_open_time_s=10.0, clamp_force_kn=1100.0),
        _settings(
            zones_c=_SOFT,
            injection_speed_mm_s=36.0,
            injection_pressure_limit_mpa=80.0,
            screw_start_position_mm=82.6,
            cooling_time_s=39.0,
        ),
    ),
    (
        "Rowan 12",
        "A",
        ("3121", "3125"),
        "blue",
        _machine(),
        _settings(zones_c=_SOFT, screw_start_position_mm=91.0),
    ),
    (
        "Rowan 7",
        "C",
        ("5207", "5212"),
        "yellow",
        _machine(),
        _settings(zones_c=_OLEFIN, screw_start_position_mm=84.0),
    ),
    (
        "Hazel 7",
        "B",
        ("4463", "4471"),
        "white",
        _machine(),
        _settings(zones_c=_SOFT, screw_start_position_mm=83.0),
    ),
    ("Alder 9", "A", ("3118", "3125"), "gray", _machine(), _settings(zones_c=_SOFT)),
)


def post(number: int) -> Post:
    """Return press number `number`, from 1; past the sixth the jobs repeat."""
    mold, blend, lots, color, machine, settings = _JOBS[(number - 1) % len(_JOBS)]
    return Post(
        press=f"P{number}",
        number=number,
        setup=Setup(machine=machine, mold=MOLDS[mold], blend=BLENDS[blend], settings=settings),
        recipe=f"{mold} {blend}",
        lot=lots[0],
        other_lot=lots[1],
        color=color,
    )


def tray_name(press: str, number: int) -> str:
    """Number on the tray, such as ``P1-041``."""
    return f"{press}-{number:03d}"


def run_name(number: int) -> str:
    """Name of a run, such as ``R-0412``."""
    return f"R-{number:04d}"
