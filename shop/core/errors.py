from django.core.exceptions import ValidationError


class Conflict(ValidationError):
    """Somebody else was first: the request was right when it was made and is not any more (HTTP 409)."""


def refused(field: str, sentences: str | list[str], code: str) -> ValidationError:
    """A refusal that belongs to one field. Django forgets the code of a ValidationError that is made from a dict."""
    sentences = [sentences] if isinstance(sentences, str) else sentences
    return ValidationError({field: [ValidationError(sentence, code=code) for sentence in sentences]})
