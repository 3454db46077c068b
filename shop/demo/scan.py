"""The scan of a page of a manual that does not exist."""

import io

from django.core.files.base import ContentFile
from PIL import Image, ImageDraw, ImageFont

WIDTH, HEIGHT = 1000, 700
PAPER, INK, PENCIL = "#fbf8f0", "#222222", "#8a8578"


def scan_of(page: str, document: str, title: str, figures: list[tuple[str, str]]) -> ContentFile:
    """A picture of a page with a table of figures, each with what it is; named as a scanner would name it."""
    image = Image.new("RGB", (WIDTH, HEIGHT), PAPER)
    draw = ImageDraw.Draw(image)
    small, plain, large = (ImageFont.load_default(size) for size in (22, 30, 38))
    draw.text((70, 50), document, PENCIL, small)
    draw.text((70, 110), title, INK, large)
    for index, (name, printed) in enumerate(figures):
        below = 210 + 85 * index
        draw.text((70, below), name, INK, plain)
        draw.text((WIDTH - 70, below), printed, INK, plain, anchor="ra")
        draw.line((70, below + 55, WIDTH - 70, below + 55), PENCIL)
    draw.text((WIDTH / 2, HEIGHT - 60), page, INK, small, anchor="ma")
    out = io.BytesIO()
    image.save(out, "PNG")
    return ContentFile(out.getvalue(), name=f"{page.replace(' ', '-')}.png")
