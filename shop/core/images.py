"""Pictures that people hand in: made anew without what a camera wrote into them, and small enough to keep."""

import base64
import binascii
import io
from dataclasses import dataclass

import pypdfium2
from django.core.exceptions import ValidationError
from PIL import Image, ImageOps, UnidentifiedImageError

KINDS = ("JPEG", "PNG", "WEBP", "TIFF")
IN_WORDS = "a JPEG, PNG, WebP or TIFF picture, or a PDF"
MOST_PIXELS = 80_000_000  # what a decoder is asked to unfold; a telephone's camera has up to 50 million
LONGEST_SIDE = 2400  # enough to read a manual's page
MOST_PAGES = 8
QUALITY = 82


@dataclass(frozen=True)
class Picture:
    """A JPEG of ours: its bytes and its size in pixels."""

    content: bytes
    width: int
    height: int


def pictures_of(file) -> list[Picture]:
    """A picture, or every page of a PDF, as JPEG of at most LONGEST_SIDE, without place or camera.

    Raises ValidationError for what is neither, is too large to unfold, or has too many pages.
    """
    file.seek(0)
    pdf = file.read(5) == b"%PDF-"
    file.seek(0)
    return _pages(file.read()) if pdf else [_picture(file)]


def picture_of(file) -> Picture:
    """A picture as JPEG of at most LONGEST_SIDE, without place or camera. ValidationError for what is none."""
    file.seek(0)
    return _picture(file, "a JPEG, PNG, WebP or TIFF picture")


SIGNATURE = "data:image/png;base64,"
MOST_SIGNATURE = 600_000  # characters; a signature over a whole tablet has some 60 000


def signature_of(drawn: str) -> Picture:
    """What was drawn on the screen, sent as a data URL of a PNG (RFC 2397). ValidationError for anything else."""
    try:
        if not drawn.startswith(SIGNATURE) or len(drawn) > MOST_SIGNATURE:
            raise ValueError
        content = base64.b64decode(drawn.removeprefix(SIGNATURE), validate=True)
        picture = _picture(io.BytesIO(content), "it by signing once more")
    except (ValueError, binascii.Error, ValidationError) as error:
        raise ValidationError(
            "The signature cannot be read. Clear it and sign once more, or tick that it is signed on paper.",
            code="unreadable",
        ) from error
    with Image.open(io.BytesIO(picture.content)) as image:
        darkest, lightest = image.convert("L").getextrema()
    if lightest - darkest < 64:
        raise ValidationError("The signature is empty. Sign, or tick that it is signed on paper.", code="empty")
    return picture


def _picture(file, wanted: str = IN_WORDS) -> Picture:
    try:
        with Image.open(file, formats=KINDS) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                raise ValidationError(
                    f"The picture has {opened.width} × {opened.height} pixels; at most {MOST_PIXELS // 1_000_000} "
                    "million are taken. Make it smaller, then send it again.",
                    code="too_large",
                )
            return _anew(ImageOps.exif_transpose(opened))
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise ValidationError(f"This file cannot be read. Send {wanted}.", code="unreadable") from error


def _pages(content: bytes) -> list[Picture]:
    try:
        with pypdfium2.PdfDocument(content) as document:
            if len(document) > MOST_PAGES:
                raise ValidationError(
                    f"The PDF has {len(document)} pages; at most {MOST_PAGES} are taken. Send only the pages of this "
                    "damper.",
                    code="too_many_pages",
                )
            return [_page(page) for page in document]
    except pypdfium2.PdfiumError as error:
        raise ValidationError(
            f"This PDF cannot be read; it may be locked or damaged. Send {IN_WORDS}.", code="unreadable"
        ) from error


def _page(page) -> Picture:
    longest = max(page.get_size())
    return _anew(page.render(scale=min(LONGEST_SIDE / longest, 4) if longest else 1).to_pil())


def _anew(image: Image.Image) -> Picture:
    """Only the pixels go on: on white where there were none, in sRGB order, without any metadata."""
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        image = image.convert("RGBA")
        ground = Image.new("RGB", image.size, "white")
        ground.paste(image, mask=image.getchannel("A"))
        image = ground
    image = image.convert("RGB")
    image.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    out = io.BytesIO()
    Image.frombytes("RGB", image.size, image.tobytes()).save(out, "JPEG", quality=QUALITY, optimize=True)
    return Picture(out.getvalue(), *image.size)
