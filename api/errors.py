from django.core.exceptions import ValidationError
from rest_framework import exceptions, status
from rest_framework.serializers import as_serializer_error
from rest_framework.views import exception_handler

from shop.core.errors import Conflict


def handle(exc, context):
    """Give every refusal one shape: {"message": str, "fields": {name: [str, ...]}}."""
    conflict = isinstance(exc, Conflict)
    if isinstance(exc, ValidationError):  # Django's, from the domain
        exc = exceptions.ValidationError(as_serializer_error(exc))
    response = exception_handler(exc, context)
    if response is None:
        return None
    if isinstance(exc, exceptions.ValidationError):
        data = response.data
        fields = dict(data) if isinstance(data, dict) else {"non_field_errors": list(data)}
        whole = fields.pop("__all__", []) + fields.pop("non_field_errors", [])
        response.data = {"message": " ".join(whole) or "Some fields need correcting.", "fields": fields}
    else:
        response.data = {"message": response.data["detail"], "fields": {}}
    if conflict:
        response.status_code = status.HTTP_409_CONFLICT
    return response
