from django.core.exceptions import ValidationError


class Conflict(ValidationError):
    """Somebody else was first: the request was right when it was made and is not any more (HTTP 409)."""
