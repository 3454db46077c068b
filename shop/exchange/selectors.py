"""Imports and tables as one person sees them."""

from shop.exchange.files.store import progress_of
from shop.exchange.kinds import KINDS
from shop.exchange.models import ImportRun, RunState
from shop.exchange.table import Kind
from shop.staff.models import User

IN_A_QUEUE = {RunState.WAITING, RunState.DUE}


def kinds_for(user: User) -> list[type[Kind]]:
    """What this person may bring in and take out."""
    return [kind for kind in KINDS.values() if user.may(kind.ability)]


def runs_for(user: User):
    """Imports of the kinds this person keeps, the newest first."""
    rows = ImportRun.objects.filter(kind__in=[kind.name for kind in kinds_for(user)])
    return rows.select_related("uploaded_by", "imported_by")


def progress(run: ImportRun) -> tuple[int, int] | None:
    """(done, all) rows of an import at work; None while it waits or counts."""
    if not run.running or run.state in IN_A_QUEUE or not run.stored_as:
        return None
    return progress_of(run.stored_as)


def progress_in_words(run: ImportRun) -> str:
    """How far it has come: "312 of 1000 rows"."""
    if not run.running:
        return ""
    if run.state in IN_A_QUEUE:
        return "Waits for its turn."
    found = progress(run)
    return f"{found[0]} of {found[1]} rows" if found else "The rows are counted."
