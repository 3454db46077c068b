"""What every endpoint shares: how a body is read, a row found, a domain function called once, a list paged."""

import json
import re

from django.core.exceptions import ObjectDoesNotExist
from django.utils import timezone
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse
from rest_framework.exceptions import NotFound, ParseError, ValidationError
from rest_framework.parsers import JSONParser
from rest_framework.permissions import AllowAny
from rest_framework.views import APIView

from api.errors import ErrorOutput
from api.pages import Pages
from shop.core.services import once

PAGING = ("page", "page_size")
KEY = re.compile(r"[!-~]{1,64}")


class Json(JSONParser):
    """JSON as RFC 8259 has it: no NaN, no Infinity, also not by way of 1e999, and no nesting without end."""

    def parse(self, stream, media_type=None, parser_context=None):
        text = stream.read()
        try:
            data = json.loads(text, parse_constant=_refuse, parse_float=_finite) if text.strip() else {}
            if b"\\u" in text:
                json.dumps(data, ensure_ascii=False).encode()  # half a surrogate pair is no character
            return data
        except json.JSONDecodeError as error:
            raise ParseError(f"The body is no JSON: {error.msg}, line {error.lineno} column {error.colno}.") from None
        except UnicodeError as error:
            raise ParseError(f"The body is no JSON: not UTF-8 at byte {error.start}.") from None
        except RecursionError:
            raise ParseError("The body nests too deep to be read.") from None
        except ValueError as error:  # from _refuse and _finite, and for numbers of thousands of digits
            raise ParseError(f"The body is no JSON: {str(error)[:100]}.") from None


def _refuse(name):
    raise ValueError(f"{name} is no number")


def _finite(text):
    value = float(text)
    if value in (float("inf"), float("-inf")):
        raise ValueError(f"{text[:30]} is too large")
    return value


class Schema(AutoSchema):
    """Adds to the OpenAPI document what holds for every endpoint: the key header and the refusals."""

    REFUSALS = {
        400: "The body, a query parameter or what it asks for is refused.",
        401: "Not logged in.",
        403: "This role may not do that.",
        404: "No such thing.",
        409: "Somebody else was first, or the key was used for something else.",
        413: "The body is too long.",
        415: "The body is no application/json.",
        429: "Too many tries.",
    }

    def get_override_parameters(self):
        if not self._writes() or not self.view.keyed:
            return []
        words = "1 to 64 visible characters of your choice: sent again under the same key, a request is done once."
        pattern = {"type": "string", "pattern": "^[!-~]{1,64}$"}
        return [OpenApiParameter("Idempotency-Key", pattern, OpenApiParameter.HEADER, description=words)]

    def get_tags(self):
        return [self.path.split("/")[3]]

    def get_summary(self):
        return (self.get_description() or "").split("\n")[0].rstrip(".")

    def _get_request_for_media_type(self, serializer, direction="request"):
        method = self.method
        if method == "PATCH":  # else every field would be told as optional, also the version
            self.method = "PUT"
        try:
            return super()._get_request_for_media_type(serializer, direction)
        finally:
            self.method = method

    def _get_response_bodies(self, direction="response"):
        bodies = super()._get_response_bodies(direction)
        for code in self._refusals():
            answer = OpenApiResponse(ErrorOutput, self.REFUSALS[code])
            bodies[str(code)] = self._get_response_for_code(answer, str(code), ["application/json"], direction)
        return bodies

    def _refusals(self):
        yield 400
        if self.view.open_to_all:
            yield from (415, 429)
            return
        yield from (401, 403)
        if "{" in self.path or hasattr(self.view, "pagination_class"):
            yield 404
        if self._writes():
            yield from (409, 413, 415)

    def _writes(self):
        return self.method not in ("GET", "HEAD")


class Endpoint(APIView):
    """Base of all: permission_classes = [Allows("…")] says who may; a method calls one domain function."""

    schema = Schema()
    parser_classes = [Json]
    http_method_names = ["get", "head", "post", "patch"]
    keyed = True
    open_to_all = False

    def finalize_response(self, request, response, *args, **kwargs):
        response.headers.setdefault("Cache-Control", "no-store")  # people's data, and true only now
        return super().finalize_response(request, response, *args, **kwargs)

    def body(self, serializer_class, **context):
        """The body as the serializer cleans it, else 400."""
        if not isinstance(self.request.data, dict):
            raise ValidationError("Send one JSON object: {…}.")
        return _cleaned(serializer_class(data=self.request.data, context=context))

    def query(self, serializer_class):
        """The query parameters as the serializer cleans them, else 400; without those that were not given."""
        given = {name: text for name, text in self.request.query_params.items() if name not in PAGING}
        return _cleaned(serializer_class(data=given))

    def find(self, rows, pk):
        """One row of a model or queryset, else 404."""
        rows = getattr(rows, "objects", rows)
        row = rows.filter(pk=pk).first()
        if row is None:
            raise NotFound(f"There is no {rows.model._meta.verbose_name} {pk}.")
        return row

    def do(self, service, *, by=None, answer=None, **given):
        """Call a domain function once per Idempotency-Key, by default as the person who is logged in.

        answer is the row that stands for the outcome of a function that returns none.
        """
        at = timezone.now()

        def make():
            made = service(**given, by=by or self.request.user, at=at)
            return answer or made

        try:
            return once(
                scope=f"{service.__module__}.{service.__name__}:{self.request.user.pk}",
                key=self.key(),
                content={"path": self.request.path, "body": self.asked()},
                at=at,
                make=make,
            )
        except ObjectDoesNotExist:
            raise NotFound("What this is about has been removed meanwhile. Look at the present state.") from None

    def asked(self):
        """What the key stands for; secrets are left out."""
        return self.request.data

    def key(self):
        key = self.request.headers.get("Idempotency-Key", "")
        if key and not KEY.fullmatch(key):
            raise ValidationError({"Idempotency-Key": "A key has 1 to 64 visible characters: letters, digits, signs."})
        return key


class Listing(Endpoint):
    """An endpoint whose GET is a list, page by page."""

    pagination_class = Pages

    def page(self, rows, output):
        pages = self.pagination_class()
        found = pages.paginate_queryset(rows, self.request, self)
        return pages.get_paginated_response(output(found, many=True).data)


class Unknown(Endpoint):
    """Every address below /api/ that is none."""

    permission_classes = [AllowAny]
    authentication_classes = []

    def initial(self, request, *args, **kwargs):
        hint = "" if request.path.endswith("/") else " Addresses end with a slash."
        raise NotFound(f"There is no {request.path[:200]} here.{hint} /api/schema/ lists what there is.")


def _cleaned(serializer):
    serializer.is_valid(raise_exception=True)
    return serializer.validated_data
