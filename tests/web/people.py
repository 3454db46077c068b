"""What a person sees and does on a page: its words, its forms, the family of dampers that the tests book."""

import html
import re
from html.parser import HTMLParser

from django.urls import reverse

from shop.dampers.models import Position
from shop.specs.models import KitMeasure, SheetPosition
from tests import factories as make


def words(response) -> str:
    """The page as it is read: text without tags, blanks drawn together."""
    text = re.sub(r"<(script|style)\b.*?</\1>", " ", response.content.decode(), flags=re.DOTALL)
    text = re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", text)))
    return re.sub(r" ([.,:;])", r"\1", text)


class _Fields(HTMLParser):
    def __init__(self, action):
        super().__init__()
        self.action, self.inside, self.filled, self.select, self.area = action, False, {}, None, None

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        if tag == "form":
            self.inside = attrs.get("method") == "post" and self.action in attrs.get("action", "")
            self.inside = self.inside and "log-out" not in attrs.get("action", "")
        if not self.inside or "disabled" in attrs:
            return
        name, kind = attrs.get("name"), attrs.get("type")
        if tag == "input" and name and (kind not in ("checkbox", "radio") or "checked" in attrs):
            value = attrs.get("value", "on" if kind in ("checkbox", "radio") else "")
            self.filled.setdefault(name, []).append(value)
        elif tag == "select":
            self.select = name
        elif tag == "option" and "selected" in attrs:
            self.filled[self.select] = [attrs.get("value", "")]
        elif tag == "textarea":
            self.area, self.filled[name] = name, [""]

    def handle_data(self, data):
        if self.area:
            self.filled[self.area][0] += data.removeprefix("\n") if not self.filled[self.area][0] else data

    def handle_endtag(self, tag):
        if tag == "form":
            self.inside = False
        if tag == "textarea":
            self.area = None


def form(response, action="") -> dict:
    """What a browser would send if the form of the page (the one whose address holds action) were sent as it stands."""
    parser = _Fields(action)
    parser.feed(response.content.decode())
    return {name: values if len(values) > 1 else values[0] for name, values in parser.filled.items()}


def send(client, url, action="", to=None, **typed):
    """Open a page, type into its form, send it; the answer is not followed."""
    page = client.get(url)
    assert page.status_code == 200, words(page)
    return client.post(to or url, form(page, action) | typed)


# Everything of a sheet with four figures compared with its source.
TICKS = dict.fromkeys(
    ["read_shaft_nut_torque", "read_charge", "read_ifp_depth", "read_oil_volume", "read_place"], "on"
)  # fmt: skip


def verify(client, sheet, **typed):
    """Compare a draft with its source and verify it."""
    return send(client, reverse("manage:sheet_verify", args=[sheet.pk]), "verify", **TICKS | typed)


def make_family():
    """A vehicle model with one damper model at its corners, four sheets, a parts list and stock.

    Common practice, no source: 18 lbf·ft and 200 psi to model year 2014, 22 lbf·ft and 100 psi from 2015; IFP depth
    2.4 in in front, 3.4 in in the rear. The oil volume is invented.
    """
    damper_model, vehicle_model = make.make_damper_model(), make.make_vehicle_model()
    for position in Position.values:
        make.make_fitment(vehicle_model, position, damper_model)
    sheets = [
        make.make_sheet(damper_model, torque=torque, charge=charge, depth=depth, position=position, **years)
        for years, torque, charge in [({"year_to": 2014}, 18, 200), ({"year_from": 2015}, 22, 100)]
        for position, depth in [(SheetPosition.FRONT, 2.4), (SheetPosition.REAR, 3.4)]
    ]
    kit = make.make_part(on_hand=5, name="seal kit H2", bin="B-07")
    oil = make.make_part(name="damper oil Tarn No. 5", measure=KitMeasure.VOLUME, bin="F-02")
    bottle = make.make_container(oil, 1_000_000, name="1 L bottle", full=2)
    make.make_kit_line(damper_model, kit.number, name="seal kit H2")
    make.make_kit_line(damper_model, oil.number, amount=None, measure=KitMeasure.VOLUME, name="damper oil Tarn No. 5")
    return {
        "vehicle_model": vehicle_model, "damper_model": damper_model, "sheets": sheets, "kit": kit, "oil": oil,
        "bottle": bottle,
    }  # fmt: skip


def make_vehicle_with_dampers(family=None, **given):
    family = family or make_family()
    vehicle = make.make_vehicle(model=family["vehicle_model"], **given)
    for position in Position.values:
        make.make_damper(vehicle, position, model=family["damper_model"])
    return vehicle
