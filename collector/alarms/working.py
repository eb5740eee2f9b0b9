"""An alarm in hand while a batch of shots is worked through: what changed, before anything is written."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, cast

from collector.alarms import lifecycle
from collector.alarms.containment import HOLDS_NOTHING
from collector.alarms.counting import counted, worth_judging
from collector.alarms.grouping import Candidate
from collector.alarms.headline import what_moved
from collector.alarms.lifecycle import CLEAR_AFTER_SHOTS, REALARM_AFTER, AlarmEvent, Stage
from collector.alarms.model import AlarmKind, Moved, ShotVerdict, SignalFact
from collector.alarms.turning import says_other, turns
from collector.contract import quantities
from collector.contract.outgoing import AlarmState
from collector.store.alarms import AlarmRow

# Shots that can show that a condition is over; all but the charts look at every shot, as at the setpoints.
COUNTED_PHASES: dict[str, frozenset[str]] = {"process": frozenset({"charted"})}
EVERY_PHASE = frozenset({"startup", "baseline", "charted", "trial"})
LASTS = "no single bad shot any more: it lasts"
IN_DOUBT = "its values are in doubt: see the alarm of the data"


@dataclass(slots=True, kw_only=True)
class Step:
    """A step to be written."""

    event: str
    before: AlarmState | None
    after: AlarmState
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Over:
    """Whether quiet shots show that a condition is over, and what is to be said with it."""

    is_over: bool
    note: str | None = None


@dataclass(slots=True, kw_only=True)
class Working:
    """One alarm; `row_id` is None until it is written for the first time."""

    ref: int
    kind: AlarmKind
    run_id: int | None
    stage: Stage = field(default_factory=Stage)
    acknowledged_at: datetime | None = None
    row_id: int | None = None
    quiet_shots: int = 0
    moved: dict[str, Moved] = field(default_factory=dict)
    first_shot_id: int | None = None
    last_shot_id: int | None = None  # by place; while a batch is taken, as the batch before left it
    change_shot_id: int | None = None
    change_low_shot_id: int | None = None
    change_high_shot_id: int | None = None
    headline: str = ""
    single_before: bool = False  # as the last batch left it
    # what this batch did
    signal_ids: list[int] = field(default_factory=list)
    first_new_shot_id: int | None = None
    new_shot_ids: list[int] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)
    touched: bool = False
    to_judge: bool = False
    reworded: bool = False

    @classmethod
    def from_row(cls, row: AlarmRow) -> Working:
        """Take up an alarm where the last batch left it."""
        moved = [Moved.from_json(item) for item in row.characteristics]
        return cls(
            ref=row.id,
            row_id=row.id,
            kind=cast("AlarmKind", row.kind),
            run_id=row.run_id,
            stage=stage_of_row(row),
            acknowledged_at=row.acknowledged_at,
            quiet_shots=row.quiet_shots,
            moved={item.key: item for item in moved},
            first_shot_id=row.first_shot_id,
            last_shot_id=row.last_shot_id,
            change_shot_id=row.change_shot_id,
            change_low_shot_id=row.change_low_shot_id,
            change_high_shot_id=row.change_high_shot_id,
            headline=row.headline,
            single_before=bool(moved) and all(item.single for item in moved),
        )

    def speaks_of(self, low_shot_id: int, last_shot_id: int) -> bool:
        """Whether it is about shots of this stretch."""
        first = self.change_low_shot_id or self.first_shot_id
        last = max(self.may_be_last(), default=None)
        return first is not None and last is not None and first <= last_shot_id and last >= low_shot_id

    @property
    def single(self) -> bool:
        """Only single bad shots so far."""
        return all(item.single for item in self.moved.values())

    @property
    def only_passed_over(self) -> bool:
        """Nothing about it is new but its number of quiet shots."""
        return self.row_id is not None and not (self.signal_ids or self.steps or self.to_judge)

    @property
    def quiet(self) -> bool:
        """Something keeps it from calling anybody."""
        return self.stage.aside is not None

    def characteristics(self) -> list[dict[str, Any]]:
        """What moved as it is stored: lasting changes first, largest share of its limit first."""
        ordered = sorted(self.moved.values(), key=lambda item: (item.single, -item.share))
        return [item.to_json() for item in ordered]

    def may_be_last(self) -> set[int]:
        """Shots of which one is the last that signaled; their places tell which."""
        return {*self.new_shot_ids, *(() if self.last_shot_id is None else (self.last_shot_id,))}

    def candidate(self) -> Candidate:
        """The alarm as grouping sees it; one that is kept quiet goes on taking what is its own."""
        return Candidate(
            ref=self.ref,
            kind=self.kind,
            active=self.stage.active or self.quiet,
            quiet_shots=self.quiet_shots,
            single=self.single,
            keys=frozenset(self.moved),
        )

    def take(self, verdict: ShotVerdict, facts: Iterable[SignalFact]) -> None:
        """Add the signals of one shot."""
        self._be_there(verdict)
        mine, before = list(facts), self.moved
        fresh_keys = sorted({fact.key for fact in mine} - set(self.moved)) if self.moved else []
        self.moved = counted(before, mine)
        self.signal_ids += [fact.signal_id for fact in mine]
        self.quiet_shots, self.touched = 0, True
        self.first_shot_id = self.first_shot_id or verdict.shot_id
        self.first_new_shot_id = self.first_new_shot_id or verdict.shot_id
        self.new_shot_ids.append(verdict.shot_id)
        self.to_judge |= bool(fresh_keys) or worth_judging(before, self.moved)
        self.to_judge |= any(says_other(before.get(fact.key), self.moved[fact.key]) for fact in mine)
        if fresh_keys:
            self._note("grow", ", ".join(quantities.label(key) for key in fresh_keys))

    def pass_over(self, verdict: ShotVerdict, says_over: Callable[[Working, ShotVerdict], Over]) -> None:
        """Note a shot without a signal of this alarm; enough of them clear it.

        Parameters
        ----------
        verdict : ShotVerdict
        says_over : callable
            Whether so many quiet shots show that the condition is over.
        """
        if verdict.phase not in COUNTED_PHASES.get(self.kind, EVERY_PHASE):
            return
        self.quiet_shots, self.touched = self.quiet_shots + 1, True
        if self.stage.active and self.quiet_shots >= CLEAR_AFTER_SHOTS:
            over = says_over(self, verdict)
            if over.is_over:
                self._step("clear", note=over.note)
        if verdict.phase != "startup" and not self.stage.active:
            self._call_if_suppressed()

    def take_out(self) -> None:
        """What it is about is out of service, so that it calls nobody."""
        if not self.quiet:
            self._step("take_out")

    def call_anew(self, now: datetime) -> None:
        """Ask for a person again when one has had it for a shift and it is still there."""
        seen_at = self.acknowledged_at
        old = seen_at is not None and now - seen_at >= REALARM_AFTER
        if old and lifecycle.may(self.stage, "realarm"):
            self._step("realarm", note="a shift has passed")

    def doubt(self) -> None:
        """Note that its values are in doubt, and have its causes named anew."""
        self.to_judge = self.touched = True
        self._note("grow", IN_DOUBT)

    def rise(self) -> None:
        """Ask for people again, also for whoever took it for one bad shot."""
        if lifecycle.may(self.stage, "realarm"):
            self._step("realarm", note=LASTS)
        else:
            self._note("rise", LASTS)

    def level(self, item: Moved) -> None:
        """Take what was judged of a characteristic; one that went to the other side is a step."""
        if turns(self.moved[item.key], item):
            self._note("turn", what_moved(item))
        self.moved[item.key] = item

    def say(self, headline: str) -> None:
        """Take a headline, and note whether it says something new."""
        self.reworded |= headline != self.headline
        self.headline = headline

    def _be_there(self, verdict: ShotVerdict) -> None:
        """Become active; while the press starts up nobody is called for what begins there, later they are."""
        begins = not self.stage.active
        if begins:
            self._step("reoccur" if self.stage.occurred else "occur")
        if self.kind not in HOLDS_NOTHING and not self.stage.holding:
            self.stage = lifecycle.step(self.stage, "hold")
        if verdict.phase != "startup":
            self._call_if_suppressed()
        elif begins and not self.quiet:
            self._step("suppress")

    def _call_if_suppressed(self) -> None:
        if lifecycle.may(self.stage, "unsuppress"):
            self._step("unsuppress")

    def _step(self, event: AlarmEvent, note: str | None = None) -> None:
        before = self.stage
        self.stage = lifecycle.step(before, event)
        was = before.state if before.occurred else None
        self.steps.append(Step(event=event, before=was, after=self.stage.state, note=note))
        self.touched = True

    def _note(self, event: str, note: str) -> None:
        self.steps.append(Step(event=event, before=self.stage.state, after=self.stage.state, note=note))


def said_of(alarms: Iterable[Working], low_shot_id: int, last_shot_id: int) -> dict[str, int]:
    """What alarms of the process say of a stretch of shots: which side each characteristic lastingly went."""
    return {
        item.key: item.direction
        for alarm in alarms
        if alarm.kind == "process" and alarm.speaks_of(low_shot_id, last_shot_id)
        for item in alarm.moved.values()
        if item.direction and not item.single and item.how is None
    }


def stage_of_row(row: AlarmRow) -> Stage:
    """Where a stored alarm stands."""
    return lifecycle.stage_of(
        row.state, beneath=row.beneath, holding=row.holding, closed=row.closed_at is not None
    )
