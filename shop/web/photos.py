"""Photos in a form: several at once, and none that was sent has to be chosen again when something else is refused."""

from django import forms
from django.core import signing
from django.core.exceptions import ValidationError
from django.urls import reverse

from shop.core.images import picture_of
from shop.workorders.services import KeptPicture, keep_picture

SALT = "shop.web.photos"
KEPT_SECONDS = 24 * 60 * 60  # nobody comes back to a refused form later
MOST_BYTES = 60_000_000  # one form at once; a telephone's photo has 2 to 6 million
MOST_AT_ONCE = 20
ACCEPTED = "image/jpeg,image/png,image/webp"


def token_of(kept: KeptPicture, name: str) -> str:
    """A picture that lies in the storage already, so signed that a form can name no other one."""
    return signing.dumps([kept.digest, kept.width, kept.height, name[-60:]], salt=SALT)


def kept_by(token: str) -> tuple[KeptPicture, str]:
    """The picture and its name as it was handed in. Raises signing.BadSignature."""
    digest, width, height, name = signing.loads(token, salt=SALT, max_age=KEPT_SECONDS)
    return KeptPicture(digest, width, height), name


class PhotosWidget(forms.FileInput):
    allow_multiple_selected = True
    template_name = "desk/_photos_widget.html"

    def __init__(self, attrs=None):
        super().__init__({"accept": ACCEPTED, "multiple": True} | (attrs or {}))
        self.kept = []

    def value_from_datadict(self, data, files, name):
        chosen = files.getlist(name) if hasattr(files, "getlist") else []
        kept = data.getlist(f"{name}_kept") if hasattr(data, "getlist") else data.get(f"{name}_kept", [])
        return chosen, [kept] if isinstance(kept, str) else kept

    def value_omitted_from_data(self, data, files, name):
        return False

    def get_context(self, name, value, attrs):
        context = super().get_context(name, None, attrs)
        context["widget"]["kept"] = [
            {
                "token": token_of(kept, words),
                "name": words,
                "url": reverse("desk:photo_kept", args=[token_of(kept, words)]),
            }
            for kept, words in self.kept
        ]
        return context


class PhotosField(forms.Field):
    """Any number of photos; cleans to a list of KeptPicture, which lie in the storage from then on."""

    widget = PhotosWidget
    wide = True

    def __init__(self, **kwargs):
        super().__init__(required=False, **kwargs)

    def clean(self, value):
        chosen, tokens = value
        kept, refusals = {}, []
        for token in tokens:
            try:
                picture, name = kept_by(token)
            except signing.BadSignature:
                refusals.append("A photo that was kept for you is there no more. Choose it again.")
            else:
                kept[picture] = name
        for file in chosen[: MOST_AT_ONCE + 1]:
            try:
                kept[keep_picture(picture_of(file))] = file.name
            except ValidationError as error:
                refusals += [f"{file.name[-60:]}: {message}" for message in error.messages]
        self.widget.kept = list(kept.items())
        if len(chosen) > MOST_AT_ONCE:
            refusals.append(f"{len(chosen)} photos are chosen; at most {MOST_AT_ONCE} go at once. The first are kept.")
        if refusals:
            raise ValidationError(refusals, code="photos")
        return list(kept)
