"""Photos of an order and its dampers."""

import io

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint, Listing
from api.exchange import FileInput, LongJson
from api.fields import Brief, Choice, Input, Ref
from api.permissions import Allows
from shop.core.services import fingerprint
from shop.workorders.models import DamperJob, Photo, Shows, WorkOrder
from shop.workorders.services import add_photo, strike_photo

MOST_BYTES = 16_000_000


class PhotoInput(Input):
    photo = FileInput(help_text="A JPEG, PNG, WebP or TIFF picture as Base64; place and camera are taken out of it.")
    job = Ref(queryset=DamperJob.objects.all(), allow_null=True, default=None, help_text="Empty: the whole order.")
    moment = Choice(Shows.choices, default=Shows.FOUND.value)
    what = serializers.CharField(max_length=200, allow_blank=True, default="", help_text="What it shows.")

    def validate_photo(self, content):
        return io.BytesIO(content)


class StrikeInput(Input):
    why = serializers.CharField(max_length=300)


class PhotoOutput(serializers.ModelSerializer):
    job = Brief(allow_null=True)
    by = Brief()
    picture = serializers.CharField(source="get_absolute_url", help_text="Address, for who is logged in.")
    struck_out = serializers.SerializerMethodField(help_text="Why it is wrong; empty: it stands.")

    class Meta:
        model = Photo
        fields = ["id", "job", "moment", "what", "picture", "width", "height", "by", "at", "struck_out"]
        read_only_fields = fields

    def get_struck_out(self, photo) -> str:
        return photo.strike.why if hasattr(photo, "strike") else ""


ROWS = Photo.objects.with_names()


class PhotoList(Listing):
    permission_classes = [Allows("look", write="photograph")]
    parser_classes = [LongJson]
    takes_bytes = MOST_BYTES * 4 // 3 + 100_000

    @extend_schema(responses=PhotoOutput(many=True))
    def get(self, request, pk):
        """List the photos of an order, also those that were struck out."""
        self.query(Input)
        return self.page(ROWS.filter(order=self.find(WorkOrder, pk)), PhotoOutput)

    @extend_schema(request=PhotoInput, responses={201: PhotoOutput})
    def post(self, request, pk):
        """Keep a photo with an order or one of its dampers; the same again is kept once."""
        made = self.do(add_photo, order=self.find(WorkOrder, pk), **self.body(PhotoInput))
        return Response(PhotoOutput(self.find(ROWS, made.pk)).data, status=201)

    def asked(self):
        """The picture as its digest: a key stands for what was sent, not for megabytes."""
        return {**self.request.data, "photo": fingerprint(self.request.data.get("photo"))}


class PhotoStrike(Endpoint):
    permission_classes = [Allows("photograph")]

    @extend_schema(request=StrikeInput, responses=PhotoOutput)
    def post(self, request, pk):
        """Strike out a wrong photo; it stays in the book with the reason."""
        made = self.do(strike_photo, photo=self.find(Photo, pk), **self.body(StrikeInput))
        return Response(PhotoOutput(self.find(ROWS, made.pk)).data)
