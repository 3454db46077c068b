"""HTML to PDF. The renderer reads our own static files and nothing else: no network, no other file, no data address."""

import gc
import hashlib
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from email.message import Message
from functools import cache
from pathlib import Path

import segno
import weasyprint
from django.conf import settings
from django.contrib.staticfiles import finders
from django.core.exceptions import SuspiciousFileOperation
from django.utils.safestring import SafeString, mark_safe
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

# A paper names a static file by an address of its own kind, so that nothing relative or foreign can ever be meant.
SCHEME = "static:"
MIME_TYPES = {".css": "text/css", ".svg": "image/svg+xml", ".png": "image/png", ".ttf": "font/ttf", ".otf": "font/otf"}


class StaticFilesOnly(URLFetcher):
    """Serves static:css/print.css and the like from the static files; every other address is refused."""

    def fetch(self, url, headers=None):
        """Answer a static file. ValueError: a foreign address; WeasyPrint leaves out what it would have shown.

        One of our own that is missing ends the rendering: a card without its style sheet is not to reach the bench.
        """
        if not url.startswith(SCHEME):
            raise ValueError("a paper shows only the site's own static files")
        name = url.removeprefix(SCHEME)
        try:
            path = finders.find(name)
        except SuspiciousFileOperation:
            path = None
        if path is None or Path(path).suffix not in MIME_TYPES:
            raise FatalURLFetchingError(f"there is no static file {name!r} for a paper")
        answer = Message()
        answer["Content-Type"] = MIME_TYPES[Path(path).suffix]
        return URLFetcherResponse(url, Path(path).read_bytes(), answer)


def write_pdf(html: str) -> bytes:
    """PDF of a whole HTML page: tagged (PDF/UA-1), its fonts inside; title, author and language from the page."""
    with _rare_collections():
        return weasyprint.HTML(string=html, url_fetcher=StaticFilesOnly()).write_pdf(pdf_variant="pdf/ua-1")


_one_at_a_time = threading.Lock()


@contextmanager
def _rare_collections() -> Iterator[None]:
    """Let Python look for garbage cycles less often, for one rendering at a time.

    A rendering makes some hundred thousand small objects that live to its end: looking through them again and again
    took a quarter of its time. Two renderings in one process would not be faster side by side, so they take turns.
    """
    with _one_at_a_time:
        usual = gc.get_threshold()
        gc.set_threshold(50_000, 20, 20)
        try:
            yield
        finally:
            gc.set_threshold(*usual)


@cache
def look() -> str:
    """SHA-256 of all that shapes a paper besides its content: templates, style sheet, renderer."""
    made_of = hashlib.sha256(weasyprint.__version__.encode())
    for path in [*sorted((settings.BASE_DIR / "templates" / "documents").iterdir()), finders.find("css/print.css")]:
        made_of.update(Path(path).read_bytes())
    return made_of.hexdigest()


def qr(text: str, says: str) -> SafeString:
    """QR code as an SVG element with its quiet zone; says is the words for who cannot see it."""
    code = segno.make_qr(text, error="m")
    return mark_safe(code.svg_inline(omitsize=True, title=says, svgclass="qr", lineclass=None))
