"""One shape for every refusal: {"message": for people, "code": for programs, "fields": {name: [sentences]}}."""

from django.core.exceptions import SuspiciousOperation, ValidationError
from django.core.signals import got_request_exception
from django.db import IntegrityError
from django.utils.log import log_response
from rest_framework import exceptions, serializers, status
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response
from rest_framework.serializers import as_serializer_error
from rest_framework.settings import api_settings
from rest_framework.views import exception_handler

from shop.core.errors import LOST_RACE, Conflict, is_duplicate

WHOLE = ("__all__", api_settings.NON_FIELD_ERRORS_KEY)
FAILED_HERE = "Something went wrong on our side, and nothing was changed. It is in the log; try again in a minute."


class ErrorOutput(serializers.Serializer):
    """What every refusal looks like."""

    message = serializers.CharField(help_text="What is wrong and what to do, for people.")
    code = serializers.CharField(required=False, help_text="The same for programs.")
    fields = serializers.DictField(
        child=serializers.ListField(child=serializers.CharField()),
        help_text="Sentences by the name of the field; inside lists as_found.0.entered.",
    )


class TooMany(exceptions.APIException):
    """Refused for a while (429); wait in seconds."""

    status_code = status.HTTP_429_TOO_MANY_REQUESTS
    default_code = "throttled"

    def __init__(self, detail, wait, code=None):
        super().__init__(detail, code)
        self.wait = wait


def handle(exc, context):
    """REST_FRAMEWORK["EXCEPTION_HANDLER"]: domain refusals are 400, Conflict is 409, what nobody foresaw is 500."""
    context["request"].accepted_renderer = JSONRenderer()  # also where the answer would have been a PDF
    context["request"].accepted_media_type = JSONRenderer.media_type
    if isinstance(exc, IntegrityError) and is_duplicate(exc):
        exc = Conflict(LOST_RACE, code="conflict")
    if isinstance(exc, SuspiciousOperation):
        exc = exceptions.ParseError("The request cannot be read.")
    conflict = isinstance(exc, Conflict)
    if isinstance(exc, ValidationError):  # Django's, from the domain
        exc = exceptions.ValidationError(as_serializer_error(exc))
    response = exception_handler(exc, context)
    if response is None:
        return _failed(exc, context["request"]._request)
    if conflict:
        response.status_code = status.HTTP_409_CONFLICT
    if isinstance(exc, exceptions.ValidationError):
        response.data = _refusal(response.data, "conflict" if conflict else "invalid")
    else:
        detail = response.data["detail"]
        response.data = shape(_in_our_words(exc, context) or str(detail), detail.code)
    return response


def shape(message, code, fields=None):
    return {"message": message, "code": code, "fields": fields or {}}


def _refusal(detail, usual_code):
    """Shape of a ValidationError: sentences about one field under its name, about the whole in the message.

    When only fields are wrong, the message repeats what is wrong with them, so that it can be shown as it is.
    """
    fields, whole, codes = {}, [], []
    for path, error in _leaves(detail):
        codes.append(error.code)
        names = [part for part in path if part not in WHOLE]
        if names:
            fields.setdefault(".".join(names), []).append(str(error))
        else:
            whole.append(str(error))
    sentences = whole or [f"{name}: {' '.join(errors)}" for name, errors in fields.items()]
    code = codes[0] if len(set(codes)) == 1 and codes[0] not in (None, "invalid") else usual_code
    return shape(" ".join(sentences), code, fields)


def _leaves(detail, path=()):
    """Every sentence of a nested refusal with the way to it; list items are counted from 0."""
    if isinstance(detail, dict):
        for name, inner in detail.items():
            yield from _leaves(inner, (*path, str(name)))
    elif isinstance(detail, list):
        for index, inner in enumerate(detail):
            yield from _leaves(inner, path if isinstance(inner, str) else (*path, str(index)))
    else:
        yield path, detail


def _in_our_words(exc, context):
    """Sentences that say what to do, where the framework's own do not."""
    request, view = context["request"], context.get("view")
    if isinstance(exc, exceptions.NotAuthenticated):
        return "Log in first: POST /api/v1/token/ gives a token for the header “Authorization: Token …”."
    if isinstance(exc, exceptions.AuthenticationFailed):
        return f"{exc.detail} Get a new token from POST /api/v1/token/."
    if isinstance(exc, exceptions.MethodNotAllowed):
        allowed = " and ".join(method for method in view.allowed_methods if method != "HEAD")
        return f"{request.method} does nothing here; allowed is {allowed}."
    if isinstance(exc, exceptions.UnsupportedMediaType):
        kind = request.content_type[:60] or "nothing"
        return f"A body of type {kind} cannot be read here. Send application/json and say so in Content-Type."
    if isinstance(exc, exceptions.NotAcceptable):
        kinds = " or ".join(renderer.media_type for renderer in view.get_renderers())
        return f"The Accept header asks for something else than this address gives: {kinds}."
    if isinstance(exc, exceptions.Throttled):
        return f"Too many tries. Wait {exc.wait or 60:.0f} s, then try again."
    return None


def _failed(exc, request):
    """An error of ours: noted as Django notes every one, answered in the one shape."""
    got_request_exception.send(sender=None, request=request)
    response = Response(shape(FAILED_HERE, "failed"), status=status.HTTP_500_INTERNAL_SERVER_ERROR)
    log_response("%s: %s", "Internal Server Error", request.path, response=response, request=request, exception=exc)
    return response
