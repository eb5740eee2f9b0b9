"""What is known of the run that is open on a press, in a line. Pure."""

from __future__ import annotations

from collector.store.recipes import RecipeRow
from collector.store.runs import FILE, FORM, INFERRED, MESSAGE
from dashboard.queries.press_run import Now

OPENED = {
    MESSAGE: "opened by a message", FORM: "opened by a person", FILE: "opened by a file",
    INFERRED: "inferred: nobody named it",
}  # fmt: skip


def now_words(now: Now) -> str:
    """``Run R-0412, opened by a message · Larch 5 · blend A · lot 3118 · recipe Larch 5 A version 2``."""
    parts = [_run(now), _trial(now), *_made(now), _recipe(now), now.clock, _missing(now)]
    return " \u00b7 ".join(part for part in parts if part)


def recipe_words(row: RecipeRow) -> str:
    """One version in a list."""
    return f"{row.name} version {row.version}" + ("" if row.qualified_at else ", not qualified")


def _run(now: Now) -> str:
    if now.run is None:
        return "No run is open"
    return f"Run {now.run.name}, {OPENED.get(now.run.opened_by, now.run.opened_by)}"


def _trial(now: Now) -> str | None:
    return "trial, not charted" if now.run is not None and now.run.trial else None


def _made(now: Now) -> list[str | None]:
    if now.run is None:
        return []
    run = now.run
    return [
        run.mold or "mold not known", f"blend {run.blend}" if run.blend else None,
        f"lot {now.lot}" if now.lot else None, run.color,
    ]  # fmt: skip


def _recipe(now: Now) -> str | None:
    if now.run is None:
        return None
    if now.run.recipe is None:
        return "no recipe"
    version = f"recipe {now.run.recipe} version {now.run.recipe_version}"
    return version if now.is_qualified else f"{version}, not qualified"


def _missing(now: Now) -> str | None:
    if not now.missing:
        return None
    return f"{now.missing:,} shot{'' if now.missing == 1 else 's'} never arrived"
