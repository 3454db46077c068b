"""Many rows at once, all or nothing: every refusal is told, each with its row."""

from collections.abc import Callable, Iterable

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import IntegrityError, transaction

from shop.core.errors import LOST_RACE, Conflict, is_duplicate
from shop.specs.models import SpecSheet

WHOLE_ROW = "row"


def each_row(rows: Iterable, write: Callable) -> list[SpecSheet]:
    """Write each row in a savepoint of its own; the written ones, in order.

    Raises one ValidationError with the refusals of all rows under "<index>-<field>", or "<index>-row" for a whole
    row; it is a Conflict when all that was wrong is that somebody else was first. Runs in the caller's transaction.
    """
    written, refusals, conflicts = [], {}, []
    for index, row in enumerate(rows):
        try:
            with transaction.atomic():
                written.append(write(row))
        except ValidationError as error:
            conflicts.append(isinstance(error, Conflict))
            for field, errors in error.update_error_dict({}).items():
                refusals[f"{index}-{WHOLE_ROW if field == NON_FIELD_ERRORS else field}"] = errors
        except IntegrityError as error:
            if not is_duplicate(error):
                raise
            conflicts.append(True)
            refusals[f"{index}-{WHOLE_ROW}"] = [LOST_RACE]
    if refusals:
        raise (Conflict if all(conflicts) else ValidationError)(refusals)
    return written
