"""Settings of alarms: how long one may be shelved, how many people handle them, what is silence."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class Alarms(BaseModel):
    """How long an alarm may be shelved, who handles them, when silence is one."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    longest_shelf_h: float = Field(8.0, gt=0, description="an alarm is shelved for at most so many hours")
    operators: int = Field(
        1, ge=1, description="people who handle alarms at the same time; figures of alarm load are for each"
    )
    silent_cycles: float = Field(
        10.0, gt=1, description="usual cycles without a shot after which a press with an open run is silent"
    )
    silent_cycles_of: dict[str, float] = Field(
        default_factory=dict, description="the same for single presses, by name"
    )
    silent_least_s: float = Field(180.0, gt=0, description="but no press is silent before so many seconds")
    gateways: dict[str, tuple[str, ...]] = Field(
        default_factory=dict,
        description="presses that speak through one gateway, by its name; those not named share one",
    )
    gateway_cycles: float = Field(
        5.0,
        gt=1,
        description="usual cycles after which all presses of a gateway, silent together, are one alarm",
    )
    broker_silent_s: float = Field(
        30.0, gt=0, description="seconds without broker or database until that is an alarm"
    )
