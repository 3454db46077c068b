"""The PDF renderer reads our static files and nothing else."""

import threading
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest
from weasyprint.urls import FatalURLFetchingError

from shop.documents.render import StaticFilesOnly, write_pdf
from tests.documents.orders import pages


@pytest.fixture
def listener():
    """A server on this machine and the list of what it was asked for."""
    asked = []

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self):
            asked.append(self.path)
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_):
            pass

    server = HTTPServer(("127.0.0.1", 0), Answer)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}", asked
    server.shutdown()
    thread.join()
    server.server_close()


def page(body, head=""):
    return f"<!doctype html><html lang=en><head><title>t</title>{head}</head><body>{body}</body></html>"


def test_nothing_is_fetched_from_the_network(listener):
    address, asked = listener
    body = (
        f'<p>here</p><img src="{address}/a.png"><object data="{address}/b"></object>'
        f'<svg viewBox="0 0 9 9"><image href="{address}/c.png"/><use href="{address}/d.svg#x"/></svg>'
        f'<p class="x">there</p>'
    )
    head = (
        f'<link rel="stylesheet" href="{address}/e.css"><style>@import url({address}/f.css);'
        f"@font-face {{ font-family: q; src: url({address}/g.ttf) }} .x {{ font-family: q;"
        f"background: url({address}/h.png); list-style-image: url({address}/i.png) }}</style>"
    )
    assert pages(write_pdf(page(body, head))) == ["here there"]
    assert asked == []


def test_no_other_file_is_read(tmp_path):
    secret = tmp_path / "secret.css"
    secret.write_text("body::before { content: 'the secret' }")
    head = f'<link rel="stylesheet" href="{secret.as_uri()}"><link rel="stylesheet" href="{secret}">'
    assert pages(write_pdf(page("<p>here</p>", head))) == ["here"]


@pytest.mark.parametrize(
    "url",
    [
        "file:///etc/hostname",
        "http://127.0.0.1/",
        "https://example.com/a.css",
        "ftp://127.0.0.1/",
        "data:text/css,body{}",
        "STATIC:css/print.css",
        "static/css/print.css",
    ],
)
def test_every_foreign_address_is_refused(url):
    with pytest.raises(ValueError, match="only the site's own static files"):
        StaticFilesOnly().fetch(url)


@pytest.mark.parametrize(
    "name", ["", "css", "css/none.css", "../manage.py", "css/../../manage.py", "/etc/hostname", "..%2Fmanage.py"]
)
def test_what_is_no_static_file_ends_the_rendering(name):
    with pytest.raises(FatalURLFetchingError):
        StaticFilesOnly().fetch(f"static:{name}")


def test_a_paper_without_its_style_sheet_is_not_printed():
    with pytest.raises(FatalURLFetchingError):
        write_pdf(page("<p>here</p>", '<link rel="stylesheet" href="static:css/gone.css">'))


def test_our_own_style_sheet_is_served():
    answer = StaticFilesOnly().fetch("static:css/print.css")
    assert answer.content_type == "text/css"
    assert b"@page" in answer.read()
