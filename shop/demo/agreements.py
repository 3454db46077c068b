"""What was agreed with the demo's customers: one order with photos and a question that waits for its answer."""

import io
import math
from datetime import timedelta
from decimal import Decimal

from django.core.files.base import ContentFile
from PIL import Image, ImageDraw, ImageFont

from shop.workorders import services as orders
from shop.workorders.models import Condition, OrderStatus, Shows, WorkOrder

WIDTH, HEIGHT = 1200, 900
BENCH, STEEL, DARK, RUST, SPRING, OIL = "#d8cfba", "#9aa0a3", "#3a4045", "#8e4a2a", "#2f5d66", "#5a4a22"


def agree(shop) -> None:
    """Orders that the scenario has made are agreed up to a price; on the benches one damper needs a new shaft."""
    bench = WorkOrder.objects.filter(status=OrderStatus.ON_BENCH, jobs__index=3).order_by("pk").last()
    ready = WorkOrder.objects.filter(status=OrderStatus.READY).order_by("pk").last()
    for order, up_to in ((ready, "360.00"), (bench, "540.00")):
        orders.note_agreement(
            order=order,
            agreed=orders.NewAgreement(
                what=f"Rebuild of {order.jobs.count()} dampers", up_to=Decimal(up_to), agreed_by=order.customer.name,
                on_paper=True,
            ),
            by=shop.people["desk"],
            at=order.checked_in_at,
        )  # fmt: skip
        _photos(shop, order)
    _needs_a_shaft(shop, bench)


def _photos(shop, order) -> None:
    desk, at = shop.people["desk"], order.checked_in_at
    for job, leaking in zip(order.jobs.all(), (True, False), strict=False):
        words = "oil under the wiper, dust on it" if leaking else "dry, a stone chip on the body"
        Condition.objects.create(
            order=order, job=job, words=words, came_along="spring and bump stop with it", by=desk, at=at
        )
        name = f"{job.tag}.jpg"
        orders.add_photo(
            order=order, job=job, photo=photo_of(job.tag, leaking, name), what=words, moment=Shows.FOUND, by=desk, at=at
        )  # fmt: skip


def _needs_a_shaft(shop, order) -> None:
    job = order.jobs.get(index=3)
    at = order.checked_in_at + timedelta(hours=4)
    orders.add_photo(
        order=order, job=job, photo=photo_of(job.tag, True, "worn.jpg"), what="chrome worn through",
        by=shop.people["bench"], moment=Shows.FINDING, at=at,
    )  # fmt: skip
    proposed = orders.propose_question(
        job=job,
        what="a new shaft",
        why="the chrome is worn through where the seal runs, and a new seal would leak again soon",
        by=shop.people["bench"],
        at=at,
    )
    orders.ask_proposed(
        question=proposed, by_how_much=Decimal("85.00"), by=shop.people["desk"], at=at + timedelta(minutes=20)
    )


def photo_of(tag: str, leaking: bool, name: str) -> ContentFile:
    """A drawn damper on a bench, with its tag; named as a camera would name it."""
    image = Image.new("RGB", (WIDTH, HEIGHT), BENCH)
    draw = ImageDraw.Draw(image)
    for line in range(0, HEIGHT, 60):
        draw.line((0, line, WIDTH, line + 8), "#cbbfa5", 3)
    middle = HEIGHT // 2
    draw.rounded_rectangle((140, middle - 70, 640, middle + 70), 22, DARK)
    draw.rounded_rectangle((200, middle - 190, 520, middle - 100), 30, STEEL)
    draw.rectangle((640, middle - 22, 1010, middle + 22), STEEL)
    draw.ellipse((1000, middle - 60, 1120, middle + 60), DARK)
    draw.ellipse((1036, middle - 24, 1084, middle + 24), BENCH)
    draw.ellipse((90, middle - 55, 190, middle + 55), DARK)
    points = [(660 + 6 * one, middle + 120 * math.sin(one / 2.4)) for one in range(54)]
    draw.line(points, SPRING, 16, joint="curve")
    if leaking:
        draw.ellipse((610, middle + 40, 740, middle + 110), OIL)
        draw.rectangle((760, middle - 22, 820, middle + 22), RUST)
    draw.rectangle((120, 660, 430, 800), "#fffdf8", DARK, 4)
    draw.text((275, 730), tag, DARK, ImageFont.load_default(58), anchor="mm")
    out = io.BytesIO()
    image.save(out, "JPEG", quality=85)
    return ContentFile(out.getvalue(), name=name)
