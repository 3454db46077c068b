"""The pick list for a day over all orders: gathered by tap or by scan, with or without JavaScript."""

from dataclasses import dataclass
from datetime import date
from urllib.parse import urlencode

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_POST, require_safe

from shop.core.amounts import stock_amount
from shop.core.errors import Conflict
from shop.core.services import fingerprint
from shop.documents import services as documents
from shop.picklists.models import PickLine
from shop.web.access import allow
from shop.web.desk import words
from shop.web.fields import DayField, check_day
from shop.web.forms import Form, KeyedForm, submit
from shop.web.pages import number, show
from shop.workorders import services
from shop.workorders.day_picks import day_picks, orders_to_gather, picked_in_words
from shop.workorders.models import WorkOrder
from shop.workorders.purchases import coming_in_words, supplies

OPEN_BAGS = 12  # more bags than that are folded away under their sum
MOST_LEFT_OUT = 500
GONE = "The list has changed since this page was opened, and this bag is not on it any more. Nothing was picked."


class DayForm(Form):
    day = DayField(label="Gather for", required=False)


class ScanForm(KeyedForm):
    code = forms.CharField(
        label="Scan or type a part number",
        max_length=200,
        strip=False,
        error_messages={"required": "Nothing was scanned."},
    )

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["code"].widget.attrs |= {
            "autocomplete": "off",
            "autocapitalize": "characters",
            "spellcheck": "false",
        }


@dataclass(frozen=True)
class Scope:
    """Which day, and which orders are ticked off the list."""

    day: date
    without: tuple[int, ...]

    @classmethod
    def of(cls, asked):
        """From an address or a form; a day that is none is today."""
        today = timezone.localdate()
        form = DayForm({"day": asked.get("day")})
        day = (form.is_valid() and form.cleaned_data["day"]) or today
        try:
            check_day(day)
        except ValidationError:
            day = today
        return cls(day, tuple(dict.fromkeys(number(one) for one in asked.getlist("without")[:MOST_LEFT_OUT])))

    @property
    def query(self) -> str:
        return urlencode([("day", self.day.isoformat()), *(("without", one) for one in self.without)])

    def address(self, name="desk:picks") -> str:
        return f"{reverse(name)}?{self.query}"

    def orders(self) -> list:
        found = orders_to_gather(self.day, today=timezone.localdate())
        return [order for order in found if order.pk not in set(self.without)]

    def picks(self, by, part_numbers=None):
        return day_picks(self.day, today=timezone.localdate(), without=self.without, by=by, part_numbers=part_numbers)


@require_safe
@allow("look")
def picks(request):
    return _page(request, Scope.of(request.GET))


@require_POST
@allow("pick")
def scan(request):
    """One scan: the next bag of that part. A module asks for JSON and keeps the page, else the page comes anew."""
    scope, form = Scope.of(request.GET), ScanForm(request.POST)
    line = submit(form, _scanned, day=scope.day, without=scope.without, by=request.user, at=timezone.now())
    if line:
        return _answer(request, scope, [line.part_number], picked_in_words(line, scope.orders()))
    return _refused(request, scope, " ".join(error for errors in form.errors.values() for error in errors), form.status)


def _scanned(*, code, day, without, by, at):
    return services.pick_scanned(code=code, orders=Scope(day, without).orders(), by=by, at=at)


@require_POST
@allow("pick")
def take(request):
    """One tap. take= says what: row-, order- or line- and a line of the list, back- or undo- to put one back, or swap-,
    a line and the number to take in the place of its part."""
    scope = Scope.of(request.GET)
    what, _, rest = request.POST.get("take", "").replace("\0", "").partition("-")
    key, _, instead = rest.partition("-")
    line = PickLine.objects.select_related("pick_list__order").filter(pk=number(key)).first()
    if line is None:
        return _refused(request, scope, GONE, 409)
    try:
        said = _act(what, line, instead, scope, request.user, timezone.now())
    except ValidationError as error:
        return _refused(request, scope, " ".join(error.messages), 409, [line.part_number])
    return _answer(request, scope, [line.part_number, *([instead] if instead else [])], said)


def _act(what, line, instead, scope, by, at):
    """Do it, and say it."""
    orders, name = scope.orders(), line.part_number
    if what == "row":
        services.pick_everywhere(part_number=name, orders=orders, by=by, at=at)
        return f"{name}: picked for every bag that it is there for."
    if what == "order":
        order = line.pick_list.order
        services.pick_everywhere(part_number=name, orders=[order], by=by, at=at)
        return f"{name}: picked for {order}."
    if what == "line":
        picked = services.pick_line(line=line, by=by, at=at)
        if picked.picked_by_id != by.pk or picked.picked_at != at:
            raise Conflict(f"{picked.picked_by} has picked {name} for {line.tag} already.", code="done")
        return picked_in_words(picked, orders)
    if what in ("back", "undo"):
        put = services.put_back_last if what == "undo" else services.put_back_line
        put(line=line, by=by, at=at)
        return f"{name} is put back from bag {line.tag}."
    if what == "swap":
        return _swap(orders, name, instead, by, at)
    raise Conflict(GONE, code="gone")


def _swap(orders, name, instead, by, at):
    """Take the alternate for each order that waits, as far as it reaches; each order is one transaction."""
    lines = PickLine.objects.filter(pick_list__order__in=orders, part_number=name, picked_at=None)
    short = {line.pick_list_id for line in lines.select_related("reservation") if line.short}
    moved, refusal = [], None
    for order in orders:
        if order.pick_list_id in short:
            try:
                services.swap_part(order=order, part_number=name, instead=instead, by=by, at=at)
                moved.append(str(order))
            except ValidationError as error:
                refusal = refusal or error
    if refusal and not moved:
        raise refusal
    return f"{instead} is taken instead of {name} for {', '.join(moved)}." if moved else f"No bag is short of {name}."


@require_safe
@allow("look")
@cache_control(private=True, no_store=True)
def picks_pdf(request):
    scope = Scope.of(request.GET)
    paper = documents.day_picks_paper(day=scope.day, without=scope.without, address=scope.address(), at=timezone.now())
    headers = {"Content-Disposition": f'inline; filename="{paper.filename}"'}
    return HttpResponse(paper.pdf, content_type="application/pdf", headers=headers)


def _answer(request, scope, part_numbers, said):
    if _wants_json(request):
        return JsonResponse({"said": said, "refused": False, **_parts_of_page(request, scope, part_numbers)})
    messages.success(request, said)
    return redirect(scope.address())


def _refused(request, scope, said, status, part_numbers=()):
    if _wants_json(request):
        return JsonResponse(
            {"said": said, "refused": True, **_parts_of_page(request, scope, part_numbers)}, status=status
        )
    return _page(request, scope, refusal=said, status=status)


def _wants_json(request):
    return request.headers.get("Accept", "").startswith("application/json")


def _parts_of_page(request, scope, part_numbers):
    """What of the page has changed, as HTML, and the key for the next scan."""
    now = timezone.now()
    found = scope.picks(request.user, part_numbers)
    rows, may_keep = _rows(found, now), request.user.may("keep_stock")
    may = {"may_pick": True, "may_keep": may_keep}
    return {
        "rows": {
            one["row"].part_number: render_to_string("desk/_day_pick_row.html", {"one": one, **may}) for one in rows
        },
        "gone": [one for one in part_numbers if one not in {row["row"].part_number for row in rows}],
        "last": render_to_string("desk/_last_pick.html", {"last": found.last}),
        "request_key": ScanForm()["request_key"].initial,
    }


def _page(request, scope, refusal="", status=None):
    now = timezone.now()
    found = scope.picks(request.user)
    rows = _rows(found, now)
    context = {
        "day": scope.day,
        "said_day": words.day(scope.day, timezone.localdate(now)),
        "query": scope.query,
        "find": DayForm({"day": scope.day}),
        "scan": ScanForm(),
        "picks": found,
        "orders": [
            {"order": order, "promised": words.moment(order.promised_for, now), "out": order.pk in scope.without}
            for order in sorted([*found.orders, *found.left_out], key=lambda one: (one.promised_for, one.pk))
        ],
        "rows": rows,
        "short": sum(1 for row in found.rows if row.short),
        "all_picked": bool(rows) and all(row.done for row in found.rows),
        "at_risk": [
            {"order": one.order, "promised": words.moment(one.order.promised_for, now), "parts": one.part_numbers}
            for one in found.at_risk
        ],
        "offers": found.offers,
        "refusal": refusal,
        "may_pick": request.user.may("pick"),
        "may_keep": request.user.may("keep_stock"),
    }
    return show(request, "desk/day_picks.html", context, status=status)


def _rows(found, now):
    """Each part as the page says it, and how what is short of it gets here."""
    comes = supplies([row.part for row in found.rows if row.short and row.part], today=timezone.localdate(now))
    return [_told(row, found, now, comes) for row in found.rows]


def _told(row, found, now, comes):
    """One part with its bags, order by order, as the page says it."""
    orders, bags, said = found.order_of, found.bags, {}
    comes = coming_in_words(comes.get((orders[one.pick_list_id].pk, one.part_id)) for one in row.lacking)
    groups, waiting = {}, 0
    for line in row.lines:
        if line.amount not in said:
            said[line.amount] = stock_amount(line.amount, row.measure)
        picked, short = line.picked_at is not None, line.short
        waiting += not picked and not short
        group = groups.get(line.pick_list_id)
        if group is None:
            order = orders[line.pick_list_id]
            group = groups[line.pick_list_id] = {
                "order": order,
                "promised": words.moment(order.promised_for, now),
                "key": line.pk,
                "waiting": 0,
                "bags": [],
            }
        group["waiting"] += not picked and not short
        group["bags"].append(
            {
                "pk": line.pk,
                "tag": line.tag,
                "where": bags.get(line.tag, ""),
                "amount": said[line.amount],
                "picked": picked,
                "short": short and not picked and stock_amount(short, row.measure),
                "draft": line.from_draft,
                "instead_of": line.instead_of,
            }
        )
    return {
        "row": row,
        "id": f"p-{fingerprint(row.part_number)[:10]}",
        "key": row.lines[0].pk,
        "needed": stock_amount(row.needed, row.measure),
        "picked": stock_amount(row.picked, row.measure),
        "take": stock_amount(row.to_take, row.measure) if row.to_take else "",
        "each": _each(row),
        "short": _short(row, comes.ordered),
        "comes": comes,
        "waiting": waiting,
        "groups": list(groups.values()),
        "count": f"{words.count(len(row.lines), 'bag')} of {words.count(len(groups), 'order')}",
        "open": len(row.lines) <= OPEN_BAGS,
    }


def _each(row):
    """“4 dampers, 4 pieces”: one seal kit for each damper can be counted."""
    if row.measure != "count":
        return ""
    dampers = words.count(len(row.lines), "damper")
    return f"{dampers}, {words.count(row.needed, 'piece')}" + (f", {row.each} each" if row.each else "")


def _short(row, ordered):
    """What is missing, and what to buy for it where it is not on its way."""
    if not row.short:
        return ""
    missing = stock_amount(row.short, row.measure)
    if ordered:
        return f"{missing} short"
    if not row.part:
        return f"{missing} short: {row.part_number} is not in the stock list"
    if row.buy:
        return f"{missing} short: buy " + " and ".join(f"{count} × {container}" for container, count in row.buy)
    return f"{missing} short: buy {missing}"


@require_POST
@allow("pick")
def order_scan(request, pk):
    """The same for one order alone, from its own pick list."""
    order = get_object_or_404(WorkOrder, pk=pk)
    form = ScanForm(request.POST)
    line = submit(form, _scanned_for, order=order, by=request.user, at=timezone.now())
    said = (
        picked_in_words(line, [order]) if line else " ".join(one for errors in form.errors.values() for one in errors)
    )
    back = reverse("desk:pick_list", args=[pk])
    if _wants_json(request):
        answer = {"said": said, "refused": not line, "again": back, "request_key": ScanForm()["request_key"].initial}
        return JsonResponse(answer, status=200 if line else form.status)
    (messages.success if line else messages.error)(request, said)
    return redirect(back)


def _scanned_for(*, code, order, by, at):
    return services.pick_scanned(code=code, orders=[order], by=by, at=at)
