"""What is known of the run that is open on a press, in a line. Pure."""

from __future__ import annotations

from collector.store.recipes import RecipeRow
from collector.store.runs import FILE, FORM, INFERRED, MESSAGE
from dashboard.queries.press_run import Now

OPENED = {
    MESSAGE: "opened by a message", FORM: "opened by a person", FILE: "opened by a file",
    INFERRED: "inferred: nobody named it",
}  # fmt: skip


UNTIL = "until somebody closes it or the press names yet another"


def now_words(now: Now) -> str:
    """``Run R-0412, opened by a message · Larch 5 · blend A · lot 3118 · recipe Larch 5 A version 2``."""
    parts = [_run(now), _trial(now), _taken_over(now), *_made(now), _recipe(now), now.clock, _missing(now)]
    return " \u00b7 ".join(part for part in parts if part)


def opened_words(name: str, press: str, lot: str | None, now: Now) -> str:
    """What is said when a person opened a run, or said more of the one that is open.

    Parameters
    ----------
    name, press : str
    lot : str or None
        As the form said it; None leaves that of an open run in force.
    now : Now
        Before.
    """
    same = now.run is not None and now.run.name == name
    lot = lot or (now.lot if same else None)
    said = f"Run {name} is open on {press}, {f'lot {lot}' if lot else 'lot not known'}."
    named = now.named_by_press
    if same or named in (None, name):
        return said
    return f"{said} It has the shots from now on, though the press goes on naming {named}, {UNTIL}."


def naming_words(now: Now) -> str | None:
    """What to know before a run is opened on a press that names its run itself."""
    if now.named_by_press is None:
        return None
    return f"The press itself names its run {now.named_by_press}. One of another name has its shots {UNTIL}."


def closing_words(now: Now) -> str:
    """What closing the open run means."""
    assert now.run is not None
    said = f"Run {now.run.name} is over when its last shot was made."
    if now.taken_over is not None:
        return f"{said} The next shot goes to {now.taken_over} if the press still names it."
    if now.named_by_press == now.run.name:
        return f"{said} The press names it itself, and a shot that names it opens it again: end it there too."
    return said


def recipe_words(row: RecipeRow) -> str:
    """One version in a list."""
    return f"{row.name} version {row.version}" + ("" if row.qualified_at else ", not qualified")


def _run(now: Now) -> str:
    if now.run is None:
        return "No run is open"
    return f"Run {now.run.name}, {OPENED.get(now.run.opened_by, now.run.opened_by)}"


def _trial(now: Now) -> str | None:
    return "trial, not charted" if now.run is not None and now.run.trial else None


def _taken_over(now: Now) -> str | None:
    return f"the press names {now.taken_over}" if now.taken_over else None


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
