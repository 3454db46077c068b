"""Pictures as people hand them in become small JPEGs without what the camera wrote. Pillow and pypdf made them."""

import io

import pytest
from django.core.exceptions import ValidationError
from PIL import Image
from pypdf import PdfWriter

from shop.core.images import LONGEST_SIDE, MOST_PAGES, pictures_of


def file(kind="JPEG", size=(300, 200), mode="RGB", colour="white", **given):
    out = io.BytesIO()
    Image.new(mode, size, colour).save(out, kind, **given)
    return out


def pdf(pages=1, password=""):
    writer, out = PdfWriter(), io.BytesIO()
    for _ in range(pages):
        writer.add_blank_page(width=612, height=792)
    if password:
        writer.encrypt(password)
    writer.write(out)
    return out


def opened(picture):
    return Image.open(io.BytesIO(picture.content))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_every_kind_becomes_a_jpeg_of_the_same_size(kind):
    (picture,) = pictures_of(file(kind))
    assert (opened(picture).format, opened(picture).size) == ("JPEG", (300, 200))
    assert (picture.width, picture.height) == (300, 200)


def test_place_and_camera_are_taken_out_and_the_picture_stands_upright():
    exif = Image.Exif()
    exif[0x0112], exif[0x0110] = 6, "a telephone"  # turned by 90°, and the camera's name: tags of Exif 2.32
    exif.get_ifd(0x8825)[2] = (36.0, 10.0, 0.0)  # latitude
    sent = file(exif=exif, comment=b"bench 3")
    assert b"telephone" in sent.getvalue()
    (picture,) = pictures_of(sent)
    assert (picture.width, picture.height) == (200, 300)
    assert not opened(picture).getexif()
    assert b"telephone" not in picture.content
    assert b"bench 3" not in picture.content


def test_a_large_one_is_made_smaller_and_keeps_its_shape():
    (picture,) = pictures_of(file(size=(6000, 3000)))
    assert (picture.width, picture.height) == (LONGEST_SIDE, LONGEST_SIDE // 2)


def test_what_was_see_through_is_white():
    (picture,) = pictures_of(file("PNG", mode="RGBA", colour=(0, 0, 0, 0)))
    assert opened(picture).getpixel((5, 5)) == (255, 255, 255)


def test_every_page_of_a_pdf_is_a_picture():
    first, second = pictures_of(pdf(2))
    assert first.height == pytest.approx(LONGEST_SIDE, abs=2)
    assert first.width / first.height == pytest.approx(612 / 792, abs=0.01)
    assert opened(second).getpixel((5, 5)) == (255, 255, 255)


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        (io.BytesIO(b""), "cannot be read"),
        (io.BytesIO(b"torque 22 lbf ft"), "cannot be read"),
        (io.BytesIO(b"<svg xmlns='http://www.w3.org/2000/svg'/>"), "cannot be read"),
        (io.BytesIO(file().getvalue()[:400]), "cannot be read"),
        (file("GIF"), "cannot be read"),
        (io.BytesIO(b"%PDF-1.7 and nothing more"), "locked or damaged"),
        (pdf(password="secret"), "locked or damaged"),
        (pdf(MOST_PAGES + 1), "at most 8 are taken"),
        (file("PNG", size=(12_000, 7_000), mode="1", colour=1), "12000 × 7000 pixels"),
    ],
)
def test_what_is_no_picture_or_too_large_is_sent_back(sent, words):
    with pytest.raises(ValidationError, match=words):
        pictures_of(sent)
