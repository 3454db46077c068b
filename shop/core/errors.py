from django.core.exceptions import ValidationError
from django.db import IntegrityError

UNIQUE_VIOLATION, EXCLUSION_VIOLATION = "23505", "23P01"  # SQLSTATE, from PostgreSQL's appendix of error codes
# What SQLite says of the same: its own words for a unique column, and those of the trigger over spec sheets.
TAKEN_ON_SQLITE = ("UNIQUE constraint failed", "specsheet_one_answer")
LOST_RACE = "Somebody else has entered the same at this moment. Look at the present state, then try again."


class Conflict(ValidationError):
    """Somebody else was first: the request was right when it was made and is not any more (HTTP 409)."""


def refused(field: str, sentences: str | list[str], code: str) -> ValidationError:
    """A refusal that belongs to one field. Django forgets the code of a ValidationError that is made from a dict."""
    sentences = [sentences] if isinstance(sentences, str) else sentences
    return ValidationError({field: [ValidationError(sentence, code=code) for sentence in sentences]})


def renamed(error: ValidationError, **names: str) -> ValidationError:
    """The same refusal under other names of its fields: renamed(error, entered="distance")."""
    errors = error.update_error_dict({})
    return type(error)({names.get(name, name): one for name, one in errors.items()})


def is_duplicate(error: IntegrityError) -> bool:
    """Whether two came at the same moment and a unique or exclusion constraint let one in.

    Any other broken constraint is a fault of ours, not a lost race.
    """
    if state := getattr(error.__cause__, "sqlstate", None):
        return state in (UNIQUE_VIOLATION, EXCLUSION_VIOLATION)
    return any(words in str(error) for words in TAKEN_ON_SQLITE)
