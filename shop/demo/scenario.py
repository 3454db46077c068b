"""The demo shop: invented people, machines and papers, made through the same functions that the pages call.

The figures of the Hallinde H2 are common practice without a source and say so; every other figure is invented.
"""

from dataclasses import dataclass, field
from datetime import datetime, time, timedelta

from django.db import transaction
from django.utils import timezone

from shop.calc.units import Entered, from_si, parse
from shop.core.clock import local_day
from shop.customers import services as customers
from shop.customers.models import Customer, Meter, MeterReading, ReadingSource, Vehicle, VehicleModel
from shop.dampers.measures import FOUND_AND_LEFT, QUANTITY, Measure
from shop.dampers.models import CapStyle, Construction, Damper, DamperModel, Fitment, Position
from shop.dampers.services import create_damper, fit_dampers, set_adjusters, set_fitments, set_geometry
from shop.demo import bench_hours, buying
from shop.demo.agreements import agree
from shop.demo.finding import entered_twice
from shop.demo.ledger import ledger
from shop.demo.scan import scan_of
from shop.demo.stock_room import fill_stock_room
from shop.parts.models import Container, Part
from shop.parts.services import receive
from shop.picklists.services import pick
from shop.specs.models import KitLine, SheetPosition, SpecSheet
from shop.specs.services import (
    NewValue,
    add_kit_line,
    attach_scan,
    enter_sheet,
    send_back,
    set_interval,
    verify_sheet,
    withdraw_sheet,
)
from shop.staff.demo_log_ins import LOG_INS
from shop.staff.models import User
from shop.staff.services import create_user, set_bench_pin
from shop.workorders import services as orders
from shop.workorders.models import TOOL_FOR, DamperJob, Moment, Tool, ToolKind, WorkOrder
from shop.workorders.selectors import job_steps

NO_SOURCE = "common practice, no source"


@dataclass
class Shop:
    """What the scenario has made so far, by the names it uses."""

    now: datetime
    people: dict[str, User] = field(default_factory=dict)
    models: dict[str, DamperModel] = field(default_factory=dict)
    vehicles: dict[str, VehicleModel] = field(default_factory=dict)
    tools: dict[str, Tool] = field(default_factory=dict)


@transaction.atomic
def load(now: datetime) -> bool:
    """Make the demo shop, once; False when it is there already. All or nothing."""
    if User.objects.filter(username=LOG_INS[0].username).exists():
        return False
    shop = Shop(now)
    _people(shop)
    _catalogue(shop)
    _sheets(shop)
    _intervals(shop)
    bench_hours.keep_hours(shop.people, shop.models, now)
    _stock(shop)
    _serviced_last_year(shop)
    _ready(shop)
    _on_the_benches(shop)
    _arriving(shop)
    buying.load(manager=shop.people["manager"], desk=shop.people["desk"], now=now)
    bench_hours.busy_days(shop.people, shop.models, now)
    entered_twice(vehicle_model=shop.vehicles["Ridge"], damper_model=shop.models["H2"], by=shop.people["desk"], now=now)
    fill_stock_room(shop)
    agree(shop)
    ledger(desk=shop.people["desk"], bench=shop.people["bench"], now=now)
    return True


def _people(shop: Shop) -> None:
    for one in LOG_INS:
        user = create_user(
            username=one.username,
            password=one.password,
            role=one.role,
            first_name=one.first_name,
            last_name=one.last_name,
            by="demo",
            at=shop.now,
        )
        if one.pin:
            set_bench_pin(user=user, pin=one.pin, by="demo", at=shop.now)
        shop.people[one.username] = user


def _catalogue(shop: Shop) -> None:
    for key, maker, name, construction, cap, why_not in [
        ("H2", "Hallinde", "H2", Construction.RESERVOIR, CapStyle.THREADED, ""),
        ("P40", "Pell & Varga", "P40", Construction.RESERVOIR, CapStyle.RING, ""),
        ("P60", "Pell & Varga", "P60", Construction.RESERVOIR, CapStyle.CLIP, ""),
        ("E5", "Quoin", "E5", Construction.EMULSION, "", ""),
        (
            "LIVE",
            "Quoin",
            "Live 3",
            Construction.ELECTRONIC,
            "",
            "Valves are set electronically and need the maker's bench. We take it off, send it in, and fit it again.",
        ),
    ]:
        shop.models[key] = DamperModel.objects.create(
            maker=maker,
            name=name,
            construction=construction,
            cap_style=cap,
            serviceable=not why_not,
            why_not=why_not,
        )
    _sizes(shop)
    _adjusters(shop)
    for key, maker, name, year_from, front, rear in [
        ("Ridge", "Ostrander", "Ridge 900", 2011, "H2", "H2"),
        ("Trace", "Velloway", "Trace", 2013, "E5", "P40"),
        ("Dune", "Brackmoor", "Dune", 2016, "LIVE", "P40"),
    ]:
        vehicle = VehicleModel.objects.create(maker=maker, name=name, year_from=year_from, year_to=2026)
        shop.vehicles[key] = vehicle
        for position in Position.values:
            model = shop.models[front if position.startswith("front") else rear]
            Fitment.objects.create(vehicle_model=vehicle, position=position, damper_model=model, year_from=year_from)
    _more_vehicles(shop)
    day = local_day(shop.now)
    for code, kind, low, high, quantity, months in [
        ("TW-2", ToolKind.TORQUE_WRENCH, "5 lbf·ft", "60 lbf·ft", "torque", 4),
        ("TW-1", ToolKind.TORQUE_WRENCH, "5 lbf·ft", "80 lbf·ft", "torque", 14),
        ("G-1", ToolKind.GAUGE, "0 psi", "300 psi", "pressure", 2),
        ("D-1", ToolKind.DEPTH_TOOL, "0 in", "6 in", "length", 5),
    ]:
        calibrated = day - timedelta(days=30 * months)
        shop.tools[code] = Tool.objects.create(
            code=code,
            kind=kind,
            low_si=parse(low, quantity).si,
            high_si=parse(high, quantity).si,
            calibrated_on=calibrated,
            calibration_due_on=calibrated + timedelta(days=365),
        )


def _sizes(shop: Shop) -> None:
    for key, body, bore, depth, cap, shaft, stroke, limit, rate in [
        ("H2", "51 mm", "48 mm", "125 mm", "12 mm", "16 mm", "170 mm", "750 psi", "200 lbf/in"),
        ("P40", "46 mm", "46 mm", "115 mm", "10 mm", "14 mm", "160 mm", "500 psi", "180 lbf/in"),
    ]:
        shop.models[key] = set_geometry(
            damper_model=shop.models[key],
            body_bore=parse(body, "length"),
            reservoir_bore=parse(bore, "length"),
            reservoir_depth=parse(depth, "length"),
            cap_intrusion=parse(cap, "length"),
            shaft=parse(shaft, "length"),
            stroke=parse(stroke, "length"),
            highest_gas=parse(limit, "pressure"),
            spring_rate=parse(rate, "spring_rate"),
            by=shop.people["manager"],
            at=shop.now,
        )


def _adjusters(shop: Shop) -> None:
    for key, clicks in [
        ("H2", {"compression": 22, "rebound": 24}),
        ("P40", {"compression": 20, "rebound": 20}),
        ("P60", {"low_speed": 18, "high_speed": 12, "rebound": 18}),
        ("E5", {"rebound": 16}),
    ]:
        counted = {kind: parse(f"{count} clicks", "count") for kind, count in clicks.items()}
        set_adjusters(damper_model=shop.models[key], **counted, by=shop.people["manager"], at=shop.now)


def _more_vehicles(shop: Shop) -> None:
    """A model that carried two things one after the other, one with a gap, and one that is built no more."""
    front, rear = [Position.FRONT_LEFT, Position.FRONT_RIGHT], [Position.REAR_LEFT, Position.REAR_RIGHT]
    for key, maker, name, years, carries in [
        ("Cairn", "Ostrander", "Cairn 600", (2012, None), [
            (front, "E5", 2012, None), (rear, "P40", 2012, 2018), (rear, "P60", 2019, None),
        ]),
        ("Switchback", "Velloway", "Switchback", (2015, None), [
            (front, "P60", 2015, None), (rear, "P60", 2017, None),
        ]),
        ("Fen", "Brackmoor", "Fen 2", (2010, 2016), [(front + rear, "E5", 2010, None)]),
    ]:  # fmt: skip
        given = {"by": shop.people["manager"], "at": shop.now}
        vehicle = customers.create_vehicle_model(maker=maker, name=name, year_from=years[0], year_to=years[1], **given)
        shop.vehicles[key] = vehicle
        for positions, damper, year_from, year_to in carries:
            set_fitments(
                vehicle_model=vehicle,
                positions=positions,
                damper_model=shop.models[damper],
                year_from=year_from,
                year_to=year_to,
                **given,
            )


def _sheets(shop: Shop) -> None:
    practice = (NO_SOURCE, "no revision", "no page")
    p40 = ("Pell & Varga P40 bench manual (invented)", "rev C", "pp. 38–44")
    e5 = ("Quoin E5 bench notes (invented)", "2nd print", "p. 12")
    for code, model, position, years, source, figures, verified in [
        ("H2-A", "H2", SheetPosition.FRONT, (None, 2014), practice, ("18", "200", "2.4", "290"), True),
        ("H2-B", "H2", SheetPosition.REAR, (None, 2014), practice, ("18", "200", "3.4", "305"), True),
        ("H2-C", "H2", SheetPosition.FRONT, (2015, None), practice, ("22", "100", "2.4", "290"), True),
        ("H2-D", "H2", SheetPosition.REAR, (2015, None), practice, ("22", "100", "3.4", "305"), True),
        ("P40-A", "P40", SheetPosition.ANY, (None, None), p40, ("25", "150", "2.9", "340"), True),
        ("E5-A", "E5", SheetPosition.ANY, (None, None), e5, ("16", "120", "", "260"), False),
    ]:
        sheet = _sheet(shop, code, model, position, years, source, figures)
        if verified:
            _verify(shop, sheet)
    _more_sheets(shop)
    _replaced_and_withdrawn(shop)
    _waiting(shop)
    for key, kit in [("H2", "SK-H2"), ("P40", "SK-P40"), ("E5", "SK-E5")]:
        for number, name, measure, amount in [
            (kit, f"seal kit {key}", "count", 1),
            ("TARN-5", "damper oil Tarn No. 5", "volume", None),
            ("SG-1", "seal grease", "mass", 4_000),
            ("TL-M", "thread-locker, medium", "volume", 500),
        ]:
            KitLine.objects.create(
                damper_model=shop.models[key], part_number=number, name=name, measure=measure, amount=amount
            )
    _may_be_taken(shop)


def _p60(revision: str, page: str) -> tuple[str, str, str]:
    return "Pell & Varga P60 bench manual (invented)", revision, page


def _more_sheets(shop: Shop) -> None:
    """Sheets for one vehicle model, and a damper model without a sheet for its front of 2019 and 2020."""
    cairn = ("Pell & Varga P40 on the Cairn 600, leaflet (invented)", "rev A", "p. 2")
    fen = ("Quoin E5 on the Fen 2, bench notes (invented)", "1st print", "p. 5")
    for code, model, vehicle, position, years, source, figures in [
        ("P40-B", "P40", "Cairn", SheetPosition.REAR, (2012, 2018), cairn, ("25", "135", "3.0", "330")),
        ("E5-B", "E5", "Fen", SheetPosition.FRONT, (2010, 2016), fen, ("16", "110", "", "240")),
        ("E5-C", "E5", "Fen", SheetPosition.REAR, (2010, 2016), fen, ("16", "130", "", "270")),
        ("P60-A", "P60", None, SheetPosition.FRONT, (2015, 2018), _p60("rev A", "p. 21"), ("24", "160", "2.6", "310")),
        ("P60-C", "P60", None, SheetPosition.REAR, (2015, 2020), _p60("rev B", "p. 23"), ("24", "180", "3.1", "355")),
        ("P60-D", "P60", None, SheetPosition.REAR, (2021, None), _p60("rev C", "p. 37"), ("27", "190", "3.1", "360")),
    ]:
        on = {"vehicle_model": shop.vehicles[vehicle]} if vehicle else {}
        _verify(shop, _sheet(shop, code, model, position, years, source, figures, **on))


def _replaced_and_withdrawn(shop: Shop) -> None:
    """A sheet whose next version took its place, and one that was taken out of use without any."""
    where = ("P60-B", "P60", SheetPosition.FRONT, (2021, None))
    first = _sheet(shop, *where, _p60("rev C", "p. 36"), ("27", "160", "2.6", "315"))
    _verify(shop, first)
    second = _sheet(
        shop,
        *where,
        _p60("rev D", "p. 40"),
        ("27", "170", "2.6", "315"),
        days=120,
        replaces=first,
        why="rev D prints 170 psi where rev C had 160",
    )
    _verify(shop, second, days=119)
    leaflet = ("Pell & Varga P60 at a glance, leaflet (invented)", "no revision", "back page")
    for_all = _sheet(shop, "P60-E", "P60", SheetPosition.ANY, (None, None), leaflet, ("24", "150", "2.8", "330"))
    _verify(shop, for_all)
    withdraw_sheet(
        sheet=for_all,
        why="One figure for front and rear; the bench manual gives two.",
        by=shop.people["manager"],
        at=shop.now - timedelta(days=390),
    )


def _waiting(shop: Shop) -> None:
    """Two more drafts: one with the page that it was copied from, one that the second person has sent back."""
    vehicle = shop.vehicles["Switchback"]
    figures = ("27", "200", "3.2", "365")
    source = _p60("rev D", "p. 41")
    draft = _sheet(
        shop, "P60-F", "P60", SheetPosition.REAR, (2023, None), source, figures, days=3, vehicle_model=vehicle
    )
    printed = [(one.get_measure_display(), f"{one.figures} {one.unit}") for one in draft.values.all()]
    attach_scan(
        sheet=draft,
        scan=scan_of("invented page 41", f"{source[0]}, {source[1]}", f"{vehicle}, rear, from 2023", printed),
        by=shop.people["manager"],
        at=shop.now - timedelta(days=3),
    )
    notes = ("Quoin E5 on the Cairn 600, bench notes (invented)", "1st print", "p. 8")
    draft = _sheet(
        shop, "E5-D", "E5", SheetPosition.FRONT, (2019, None), notes, ("16", "150", "", "250"),
        days=9, vehicle_model=shop.vehicles["Cairn"],
    )  # fmt: skip
    send_back(
        sheet=draft,
        edition=draft.edition,
        why="The page prints 115 psi for the charge, not 150.",
        by=shop.people["second"],
        at=shop.now - timedelta(days=2),
    )


def _verify(shop: Shop, sheet: SpecSheet, days: int = 399) -> None:
    verify_sheet(sheet=sheet, edition=sheet.edition, by=shop.people["second"], at=shop.now - timedelta(days=days))


def _may_be_taken(shop: Shop) -> None:
    """A shaft that only an inspection asks for, and the second number under which the H2's seals are sold."""
    by, at, model = shop.people["manager"], shop.now - timedelta(days=399), shop.models["H2"]
    shaft = {"part_number": "SH-H2", "name": "shaft H2", "optional": True}
    second = {
        "part_number": "SK-H2-2", "name": "seal kit H2, second number",
        "stands_in_for": model.kit_lines.get(part_number="SK-H2"),
    }  # fmt: skip
    for one in (shaft, second):
        add_kit_line(damper_model=model, measure="count", amount=1, **one, by=by, at=at)


def _intervals(shop: Shop) -> None:
    """Half of the usual for dunes: common practice, no source."""
    set_interval(
        vehicle_model=shop.vehicles["Dune"],
        months=12,
        distance=parse("1500 mi", "distance"),
        severe_factor=0.5,
        source=NO_SOURCE,
        by=shop.people["manager"],
        at=shop.now - timedelta(days=399),
    )


def _sheet(shop, code, model, position, years, source, figures, days=400, **given) -> SpecSheet:
    torque, charge, depth, oil = figures
    values = [
        _value(Measure.SHAFT_NUT_TORQUE, torque, "lbf·ft", 0.05 * float(torque), "± 5 %, the shop's own"),
        _value(Measure.CHARGE, charge, "psi", 5, "± 5, the shop's own"),
        _value(Measure.OIL_VOLUME, oil, "mL", 10, "± 10, the shop's own"),
    ]
    if depth:
        values.insert(2, _value(Measure.IFP_DEPTH, depth, "in", 0.03, "± 0.03, the shop's own"))
    return enter_sheet(
        code=code,
        damper_model=shop.models[model],
        position=position,
        year_from=years[0],
        year_to=years[1],
        source_document=source[0],
        source_revision=source[1],
        source_page=source[2],
        values=values,
        by=shop.people["manager"],
        at=shop.now - timedelta(days=days),
        **given,
    )


def _value(measure: str, figures: str, unit: str, tolerance: float, words: str) -> NewValue:
    quantity = QUANTITY[measure]
    low, high = (f"{float(figures) + sign * tolerance:.4g} {unit}" for sign in (-1, 1))
    entered = parse(f"{figures} {unit}", quantity)
    return NewValue(measure, entered, parse(low, quantity), parse(high, quantity), tolerance=words)


def _stock(shop: Shop) -> None:
    at, by = shop.now - timedelta(days=398), shop.people["desk"]
    for number, name, measure, place, loose, containers in [
        ("SK-H2", "seal kit H2", "count", "B-07", 13, []),
        ("SK-P40", "seal kit P40", "count", "B-09", 3, []),
        ("SK-E5", "seal kit E5", "count", "B-11", 6, []),
        ("TARN-5", "damper oil Tarn No. 5", "volume", "F-02", 0, [
            ("1 L bottle", 1_000_000, "21.50", 5), ("5 L can", 5_000_000, "89.00", 1),
        ]),
        ("SG-1", "seal grease", "mass", "F-05", 0, [("100 g tub", 100_000, "14.20", 2)]),
        ("TL-M", "thread-locker, medium", "volume", "F-05", 0, [("50 mL bottle", 50_000, "17.80", 2)]),
        ("SH-H2", "shaft H2", "count", "C-14", 1, []),
        ("SK-H2-2", "seal kit H2, second number", "count", "B-08", 4, []),
    ]:  # fmt: skip
        part = Part.objects.create(number=number, name=name, measure=measure, bin=place)
        if loose:
            receive(part=part, amount=loose, by=by, at=at, reason="first stock")
        for words, size, price, count in containers:
            container = Container.objects.create(part=part, name=words, size=size, price=price)
            receive(part=part, amount=count * size, container=container, by=by, at=at, reason="first stock")


# --- customers and their jobs ----------------------------------------------------------------------------------------


def _customer(shop, name, email, phone, wants=None, at=None) -> Customer:
    at = at or shop.now - timedelta(days=30)
    customer = customers.create_customer(name=name, email=email, phone=phone, by=shop.people["desk"], at=at)
    if wants is not None:
        customers.record_consent(
            customer=customer, wants=wants, by=shop.people["desk"], at=at, how="asked at the counter"
        )
    return customer


def _vehicle(shop, customer, key, year, at=None, **given) -> Vehicle:
    by, at = shop.people["desk"], at or shop.now - timedelta(days=30)
    vehicle = customers.create_vehicle(
        customer=customer, model=shop.vehicles[key], model_year=year, by=by, at=at, **given
    )
    fit_dampers(vehicle=vehicle, by=by, at=at)
    return vehicle


def _meter(shop, vehicle, text, at, source=ReadingSource.DESK) -> MeterReading:
    meter, quantity = (Meter.HOURS, "time") if text.endswith("h") else (Meter.DISTANCE, "distance")
    return customers.record_meter(
        vehicle=vehicle,
        meter=meter,
        entered=parse(text, quantity),
        read_on=local_day(at),
        source=source,
        by=shop.people["desk"] if source == ReadingSource.DESK else None,
        at=at,
    )


def _at(moment: datetime, hour: int, minute: int = 0) -> datetime:
    """The shop's wall clock on a moment's day."""
    return timezone.make_aware(datetime.combine(local_day(moment), time(hour, minute)))


def _book(shop, vehicle, complaint, at, arrives_in=0, promised_in=2, dampers=None) -> WorkOrder:
    return orders.book(
        customer=vehicle.customer,
        vehicle=vehicle,
        dampers=dampers or list(vehicle.dampers.filter(model__serviceable=True)),
        complaint=complaint,
        arrives_on=local_day(at + timedelta(days=arrives_in)),
        promised_for=bench_hours.open_at(_at(at + timedelta(days=promised_in), 16)),
        promise_anyway=True,
        by=shop.people["desk"],
        at=at,
    )


def _check_in(shop, order, meters, at) -> WorkOrder:
    clicks = {Measure.COMPRESSION_CLICKS: "7 clicks", Measure.REBOUND_CLICKS: "11 clicks"}
    found = [
        (job, measure, parse(clicks.get(measure, "4 3/4 in"), QUANTITY[measure]))
        for job in order.jobs.all()
        for measure in FOUND_AND_LEFT
    ]
    entered = [
        (Meter.HOURS, parse(text, "time")) if text.endswith("h") else (Meter.DISTANCE, parse(text, "distance"))
        for text in meters
    ]
    return orders.check_in(order=order, meters=entered, as_found=found, by=shop.people["desk"], at=at)


def _pick(shop, order, at) -> None:
    for line in order.pick_list.lines.select_related("reservation"):
        if not line.short:
            pick(line=line, by=shop.people["bench"], at=at)


def _work(shop, job: DamperJob, at: datetime, steps: int = 99) -> None:
    """Do the first steps of a job, each figure set to what its sheet says."""
    for state in job_steps(job)[:steps]:
        step, at = state.step, at + timedelta(minutes=4)
        if state.value:
            _read(shop, job, step.reading, Moment.SET, _as_printed(state.value), at)
        if step.as_left:
            for found in job.readings.filter(moment=Moment.FOUND):
                left = Entered(found.figures, float(found.value_si), found.unit, found.value_si)
                _read(shop, job, found.measure, Moment.LEFT, left, at)
        orders.finish_step(job=job, step=step, by=shop.people["bench"], at=at)
        if step.critical:
            orders.second_check(job=job, step=step, by=shop.people["second"], at=at + timedelta(minutes=1))


def _as_printed(value) -> Entered:
    return Entered(value.figures, from_si(value.value_si, value.unit), value.unit, value.value_si)


def _read(shop, job, measure, moment, entered, at) -> None:
    kind = TOOL_FOR.get(measure) if moment == Moment.SET else None
    tool = next((one for one in shop.tools.values() if one.kind == kind and one.code != "TW-1"), None)
    warm = parse("66 °F", "temperature") if measure == Measure.CHARGE and moment == Moment.SET else None
    orders.record_reading(
        job=job,
        measure=measure,
        moment=moment,
        entered=entered,
        tool=tool,
        bench_temperature=warm,
        by=shop.people["bench"],
        at=at,
    )


def _finish(shop, order, at) -> WorkOrder:
    for job in order.jobs.all():
        _work(shop, job, at)
        orders.close_job(job=job, by=shop.people["bench"], at=at + timedelta(hours=2))
    return orders.close_order(order=order, used=[], by=shop.people["bench"], at=at + timedelta(hours=2))


def _serviced_last_year(shop: Shop) -> None:
    """Its year is nearly over: the first sweep writes this customer an e-mail."""
    at = _at(shop.now - timedelta(days=355), 9)
    customer = _customer(shop, "Petra Oyelaran-Wick", "petra@example.com", "555-0134", True, at)
    vehicle = _vehicle(shop, customer, "Ridge", 2015, at, vin="OS9R15-00417", plate="LG 417")
    order = _book(shop, vehicle, "wanders on washboard", at)
    _check_in(shop, order, ["2310 mi", "188 h"], at)
    _pick(shop, order, at)
    order = _finish(shop, order, at + timedelta(hours=1))
    orders.hand_back(order=order, by=shop.people["desk"], at=at + timedelta(days=1))
    for days, miles in [(250, 2570), (160, 2890), (60, 3120)]:
        _meter(shop, vehicle, f"{miles} mi", shop.now - timedelta(days=days), ReadingSource.CUSTOMER)


def _ready(shop: Shop) -> None:
    at = _at(shop.now - timedelta(days=2), 9)
    customer = _customer(shop, "Ines Calloway-Brandt", "ines@example.com", "555-0121", True)
    vehicle = _vehicle(shop, customer, "Dune", 2018, vin="BD18-22071", plate="LG 902", severe_use=True)
    order = _book(shop, vehicle, "rear hops over ruts", at, promised_in=3)
    _check_in(shop, order, ["6044 mi"], at)
    _pick(shop, order, at)
    _finish(shop, order, at + timedelta(hours=1))


def _on_the_benches(shop: Shop) -> None:
    at = _at(shop.now - timedelta(days=1), 8, 30)
    customer = _customer(shop, "Sam Ferreira-Holt", "sam@example.org", "555-0117")
    vehicle = _vehicle(shop, customer, "Ridge", 2014, vin="OS9R14-00832", plate="LG 832")
    order = _book(shop, vehicle, "leaks at the shaft, bottoms out", at)
    _check_in(shop, order, ["4218 mi", "391 h"], at)
    _pick(shop, order, at)
    first, second, *_ = order.jobs.all()
    _work(shop, first, at + timedelta(hours=1))
    orders.close_job(job=first, by=shop.people["bench"], at=at + timedelta(hours=2))
    _work(shop, second, at + timedelta(hours=2), steps=7)


def _arriving(shop: Shop) -> None:
    at = shop.now - timedelta(hours=1)
    noor = _customer(shop, "Noor Abernathy-Voss", "noor@example.com", "555-0142")
    trace = _vehicle(shop, noor, "Trace", 2016, vin="VT16-50093", plate="LG 093")
    _book(shop, trace, "front end knocks when cold", at, promised_in=3)
    theo = _customer(shop, "Theo Marsh-Lindqvist", "theo@example.org", "555-0108")
    loose = [
        create_damper(
            customer=theo,
            position=position,
            model=shop.models["H2"],
            model_year=2014,
            serial=f"H2-7712{index}",
            by=shop.people["desk"],
            at=at,
        )
        for index, position in enumerate([Position.REAR_LEFT, Position.REAR_RIGHT])
    ]
    orders.book(
        customer=theo,
        vehicle=None,
        dampers=Damper.objects.filter(pk__in=[one.pk for one in loose]),
        complaint="service as every year",
        arrives_on=local_day(shop.now + timedelta(days=1)),
        promised_for=bench_hours.open_at(_at(shop.now + timedelta(days=4), 12)),
        promise_anyway=True,
        by=shop.people["desk"],
        at=at,
    )
