"""`make pictures`: the README's pictures, made anew from the demo shop in Chromium."""

import os
import shutil
import subprocess
import sys
import tempfile
from io import BytesIO
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

from shop.bootstrap import DEMO_SHOP, ROOT
from tests.servers import Server, free_port

FOLDER = ROOT / "tests" / "screenshots"
DESK, TABLET = {"width": 1280, "height": 720}, {"width": 820, "height": 1180}


def main():
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="damperbook-pictures-") as folder:
        port = free_port()
        url = f"http://127.0.0.1:{port}"
        kept = {name: value for name, value in os.environ.items() if not name.startswith("DAMPERBOOK_")}
        site = {"DAMPERBOOK_VAR": folder, "DAMPERBOOK_DEMO": "1", "DAMPERBOOK_SITE_URL": url}
        environment = kept | DEMO_SHOP | site
        for command in (["migrate"], ["load_demo"], ["collectstatic", "--noinput"]):
            subprocess.run(
                [sys.executable, "manage.py", *command], cwd=ROOT, env=environment, check=True, capture_output=True
            )
        command = [sys.executable, "-m", "gunicorn", "shop.wsgi:application", "--bind", f"127.0.0.1:{port}"]
        server = Server("site", [*command, "--no-control-socket"], Path(folder) / "site.log", cwd=ROOT, env=environment)
        try:
            server.wait_until(lambda: "Listening at" in server.said())
            take(url)
        finally:
            server.stop()


def take(url):
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"),
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        desk = log_in(browser, url, "desk", "desk-and-daybook", DESK)
        desk.goto(f"{url}/")
        keep("day", desk.screenshot())
        desk.goto(f"{url}/picks/")
        keep("picks", desk.screenshot())
        desk.goto(f"{url}/manage/buying/")
        keep("buying", desk.screenshot())
        card = desk.request.get(f"{url}/orders/3/job-card.pdf").body()
        bench = log_in(browser, url, "bench", "bench-and-tablet", TABLET)
        bench.goto(f"{url}/bench/")
        bench.get_by_role("link", name="Front right").click()
        bench.get_by_role("link", name="Go on").first.click()
        bench.get_by_role("button", name="1", exact=True).click()
        bench.get_by_role("button", name="8", exact=True).click()
        keep("step", bench.screenshot())
        browser.close()
    one_page = ["pdftoppm", "-png", "-singlefile", "-f", "2", "-r", "96", "-"]
    keep("card", subprocess.run(one_page, input=card, capture_output=True, check=True).stdout)


def log_in(browser, url, username, password, size):
    page = browser.new_context(viewport=size).new_page()
    page.goto(f"{url}/log-in/")
    page.get_by_label("User name").fill(username)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url(lambda there: "log-in" not in there)
    return page


def keep(name, png):
    """Few colours are enough for ink on paper, and make a small file."""
    Image.open(BytesIO(png)).convert("RGB").quantize(64, dither=Image.Dither.NONE).save(
        FOLDER / f"{name}.png", optimize=True
    )
    print(f"tests/screenshots/{name}.png, {(FOLDER / f'{name}.png').stat().st_size // 1024} kB")


if __name__ == "__main__":
    main()
