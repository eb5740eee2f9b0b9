"""Timed jobs, one module each, listed here; :mod:`collector.jobs.runner` runs them.

A new job is a module with a `JOB` and its line in `JOBS`. Its work is small and idempotent: it may be killed
at any time, and on PostgreSQL another collector may do it the next time.
"""

from __future__ import annotations

from collector.jobs import (
    alarm_openings,
    backup,
    connections,
    delivery,
    escalation,
    forgetting,
    gauged,
    gauging_due,
    heartbeat,
    journal_head,
    quiet_runs,
    retention,
    self_check,
    shift_summary,
    silence,
    unshelve,
)
from collector.jobs.job import Job

JOBS: tuple[Job, ...] = (
    heartbeat.JOB,
    delivery.JOB,
    escalation.JOB,
    shift_summary.JOB,
    gauged.JOB,
    gauging_due.JOB,
    quiet_runs.JOB,
    self_check.JOB,
    backup.JOB,
    retention.JOB,
    forgetting.JOB,
    unshelve.JOB,
    alarm_openings.JOB,
    journal_head.JOB,
    silence.JOB,
    connections.JOB,
)
