"""Tables in and out: a file is sent, checked by a worker, and brought in once its sender has seen what came of that."""

import base64
import binascii

from django.http import StreamingHttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.response import Response

from api.endpoint import Endpoint, Json, Listing
from api.fields import Brief, Input
from api.permissions import Allows
from shop.core.clock import local_day
from shop.exchange import services
from shop.exchange.files.store import MOST_BYTES, Upload
from shop.exchange.files.writing import CSV_TYPE, csv_lines
from shop.exchange.kinds import KINDS
from shop.exchange.models import ImportRun
from shop.exchange.selectors import kinds_for, progress, runs_for

REST_OF_THE_BODY = 100_000


class Csv(BaseRenderer):
    """For the Accept header alone: the rows leave as they are read."""

    media_type, format = "text/csv", "csv"


class LongJson(BaseParser):
    """Our JSON, read past the limit that the framework sets for every body: a file has one of its own."""

    media_type = Json.media_type

    def parse(self, stream, media_type=None, parser_context=None):
        return Json().parse(stream, media_type, parser_context)


class TableColumnOutput(serializers.Serializer):
    header = serializers.CharField(help_text="The word in the first line of the file.")
    help = serializers.CharField()
    example = serializers.CharField()
    required = serializers.BooleanField()


class KindOutput(serializers.Serializer):
    """A table that may be brought in and taken out."""

    name = serializers.CharField(help_text="As it stands in the addresses.")
    title = serializers.CharField(source="name.label")
    about = serializers.CharField(help_text="How a row is found again, and what happens to it.")
    columns = TableColumnOutput(many=True)


class ProblemOutput(serializers.Serializer):
    line = serializers.IntegerField(help_text="As a spreadsheet counts; 0: the whole file.")
    column = serializers.CharField(help_text="Its word; empty: the whole line.")
    value = serializers.CharField()
    sentence = serializers.CharField()


class ImportRow(serializers.ModelSerializer):
    """A file that was sent, in a list."""

    kind = serializers.CharField()
    state = serializers.CharField(
        help_text="waiting, checking, checked, due, importing, done, refused, failed or stopped."
    )
    uploaded_by = Brief()
    imported_by = Brief(allow_null=True)
    done_rows = serializers.SerializerMethodField(help_text="While it is at work: how many rows are gone through.")

    class Meta:
        model = ImportRun
        fields = [
            "id", "kind", "file_name", "state", "rows", "done_rows", "new", "changed", "unchanged", "problem_count",
            "note", "uploaded_by", "uploaded_at", "checked_at", "imported_by", "imported_at",
        ]  # fmt: skip
        read_only_fields = fields

    @extend_schema_field(serializers.IntegerField(allow_null=True))
    def get_done_rows(self, run):
        found = progress(run)
        return found[0] if found else None


class ImportOutput(ImportRow):
    """A file that was sent, with the first thousand things that are wrong with it."""

    problems = ProblemOutput(many=True)

    class Meta(ImportRow.Meta):
        fields = [*ImportRow.Meta.fields, "problems"]
        read_only_fields = fields


@extend_schema_field({"type": "string", "format": "byte"})
class FileInput(serializers.Field):
    default_error_messages = {"shape": "Give the bytes of the file as Base64 (RFC 4648)."}

    def to_internal_value(self, data):
        try:
            return base64.b64decode(data, validate=True)
        except (TypeError, ValueError, binascii.Error):
            self.fail("shape")


class TableInput(Input):
    name = serializers.CharField(max_length=200, help_text="Of the file, such as parts.csv.")
    file = FileInput(help_text="A CSV file in UTF-8 or an XLSX file, as Base64; at most 10 MB and 20 000 rows.")


class KindList(Endpoint):
    permission_classes = [Allows("exchange")]

    @extend_schema(responses=KindOutput(many=True))
    def get(self, request):
        """List the tables that come and go as files, with their columns."""
        return Response(KindOutput(kinds_for(request.user), many=True).data)


class ImportList(Listing):
    permission_classes = [Allows("exchange")]

    @extend_schema(responses=ImportRow(many=True))
    def get(self, request):
        """List files that were sent, the newest first."""
        return self.page(runs_for(request.user).defer("problems"), ImportRow)


class ImportDetail(Endpoint):
    permission_classes = [Allows("exchange")]

    @extend_schema(responses=ImportOutput)
    def get(self, request, pk):
        """Read how far a file has come and what is wrong with it."""
        return Response(ImportOutput(self.find(runs_for(request.user), pk)).data)


class ImportBringIn(Endpoint):
    permission_classes = [Allows("exchange")]

    @extend_schema(request=None, responses=ImportOutput)
    def post(self, request, pk):
        """Have a checked file written, all of it or nothing."""
        self.body(Input)
        run = self.do(services.bring_in, run=self.find(runs_for(request.user), pk))
        return Response(ImportOutput(run).data)


class ImportPutAway(Endpoint):
    permission_classes = [Allows("exchange")]

    @extend_schema(request=None, responses=ImportOutput)
    def post(self, request, pk):
        """Forget a file that is not to be brought in."""
        self.body(Input)
        run = self.do(services.put_away, run=self.find(runs_for(request.user), pk))
        return Response(ImportOutput(run).data)


def _endpoints(kind):
    """What one kind has: a file in, and all of the book out."""

    class Table(Endpoint):
        permission_classes = [Allows(kind.ability)]
        takes_bytes = MOST_BYTES * 4 // 3 + REST_OF_THE_BODY
        parser_classes = [LongJson]
        renderer_classes = [JSONRenderer, Csv]

        @extend_schema(
            operation_id=f"exchange_{kind.name.name.lower()}_export", responses={(200, "text/csv"): OpenApiTypes.STR}
        )
        def get(self, request):
            now = timezone.now()
            services.note_export(kind=kind, file_format="csv", by=request.user, at=now)
            name = f"{kind.name}-{local_day(now):%Y-%m-%d}.csv"
            headers = {"Content-Disposition": f'attachment; filename="{name}"'}
            return StreamingHttpResponse(csv_lines(kind, kind.rows()), content_type=CSV_TYPE, headers=headers)

        @extend_schema(
            operation_id=f"exchange_{kind.name.name.lower()}_import", request=TableInput, responses={201: ImportOutput}
        )
        def post(self, request):
            given = self.body(TableInput)
            run = self.do(services.receive_file, kind=kind.name, file=Upload(given["name"], given["file"]))
            return Response(ImportOutput(run).data, status=201)

    Table.get.__doc__ = f"Take out all {kind.name.label.lower()} as a CSV file."
    Table.post.__doc__ = f"Send a file of {kind.name.label.lower()}, which a worker then checks."
    return Table


ENDPOINTS = {name: _endpoints(kind) for name, kind in KINDS.items()}
