"""The look-up against another that is as plain as can be: every year and every place asked one by one, in Python."""

from dataclasses import dataclass
from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shop.specs.models import SpecSheet
from shop.specs.selectors import Place, sheet_for, sheets_for
from tests import factories as make
from tests.factories import NOON

pytestmark = [pytest.mark.django_db, pytest.mark.flow]

CORNERS = ["front_left", "front_right", "rear_left", "rear_right"]
YEARS = range(2011, 2019)
DAMPERS = VEHICLES = 2


@dataclass(frozen=True)
class Told:
    """A sheet as the test knows it. damper and vehicle are numbers of invented models; vehicle None is any."""

    damper: int
    vehicle: int | None
    position: str
    first: int | None
    last: int | None
    status: str
    version: int

    def has(self, year):
        return (self.first or 0) <= year <= (self.last or 9999)


@st.composite
def sheets(draw):
    first, last = draw(st.none() | st.integers(2012, 2017)), draw(st.none() | st.integers(2012, 2017))
    if first and last and first > last:
        first, last = last, first
    return Told(
        damper=draw(st.integers(0, DAMPERS - 1)),
        vehicle=draw(st.none() | st.integers(0, VEHICLES - 1)),
        position=draw(st.sampled_from(["any", "front", "rear", *CORNERS])),
        first=first,
        last=last,
        status=draw(st.sampled_from(["draft", "verified", "verified", "verified", "withdrawn"])),
        version=draw(st.integers(1, 3)),
    )


def places_from_fine_to_coarse(corner):
    return {
        "": ["any"],
        "front_left": ["front_left", "front", "any"],
        "front_right": ["front_right", "front", "any"],
        "rear_left": ["rear_left", "rear", "any"],
        "rear_right": ["rear_right", "rear", "any"],
    }[corner]


def expected(told, damper, year, corner, vehicle):
    """Number of the sheet that has to hold, or None: each kind of sheet in turn, from the finest to the coarsest."""
    for status in ("verified", "draft"):
        for on in [None] if vehicle is None else [vehicle, None]:
            for position in places_from_fine_to_coarse(corner):
                fitting = [
                    number
                    for number, one in told.items()
                    if (one.damper, one.vehicle, one.position, one.status) == (damper, on, position, status)
                    and one.has(year)
                ]
                if fitting:
                    return max(fitting)  # of drafts the one that was entered last; of verified ones there is one
    return None


def overlaps(one, other):
    same = (one.damper, one.vehicle, one.position) == (other.damper, other.vehicle, other.position)
    return same and any(one.has(year) and other.has(year) for year in range(2000, 2030))


def refusal_of(row, second):
    """Verify a sheet; what the database says against it, or nothing."""
    row.status, row.verified_by, row.verified_at = "verified", second, NOON
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError as error:
        return str(error)
    return ""


def enter(told, dampers, vehicles, by, second):
    """Put the sheets into the tables past our own code. What the database refuses has to be an overlap, and is left."""
    standing, rows = {}, {}
    for number, one in enumerate(told):
        row = SpecSheet.objects.create(
            code=f"H-{number}", version=one.version, damper_model=dampers[one.damper],
            vehicle_model=None if one.vehicle is None else vehicles[one.vehicle], position=one.position,
            year_from=one.first, year_to=one.last, source_document="common practice, no source", source_revision="none",
            source_page="none", entered_by=by, entered_at=NOON + timedelta(minutes=number),
        )  # fmt: skip
        if one.status != "draft":
            clash = any(other.status == "verified" and overlaps(one, other) for other in standing.values())
            refusal = refusal_of(row, second)
            assert bool(refusal) == ("specsheet_one_answer" in refusal) == clash, (one, standing)
            if refusal:
                continue
            if one.status == "withdrawn":
                row.status = "withdrawn"
                row.save()
        standing[number], rows[number] = one, row
    # What was refused stays in the tables as a draft.
    for number, one in enumerate(told):
        if number not in standing:
            standing[number] = Told(one.damper, one.vehicle, one.position, one.first, one.last, "draft", one.version)
            rows[number] = SpecSheet.objects.get(code=f"H-{number}")
    return dict(sorted(standing.items())), rows


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(told=st.lists(sheets(), max_size=14))
def test_the_look_up_finds_what_a_plain_search_through_every_year_and_place_finds(db, told):
    with transaction.atomic():
        by, second = make.make_user(), make.make_user("technician")
        dampers = [make.make_damper_model() for _ in range(DAMPERS)]
        vehicles = [make.make_vehicle_model() for _ in range(VEHICLES)]
        standing, rows = enter(told, dampers, vehicles, by, second)
        asked = [
            (damper, year, corner, vehicle)
            for damper in range(DAMPERS)
            for year in YEARS
            for corner in ["", *CORNERS]
            for vehicle in [None, *range(VEHICLES)]
        ]
        places = [
            Place(dampers[damper], year, corner, None if vehicle is None else vehicles[vehicle])
            for damper, year, corner, vehicle in asked
        ]
        found = sheets_for(places)
        for question, one in zip(asked, found, strict=True):
            number = expected(standing, *question)
            assert one.sheet == (rows[number] if number is not None else None), question
            if number is not None:
                assert one.rule.startswith("DRAFT") == (standing[number].status == "draft")
        for place, one in list(zip(places, found, strict=True))[::17]:  # one at a time is the same as all at once
            alone = sheet_for(place.damper_model, place.model_year, place.position, place.vehicle_model)
            assert (alone.sheet, alone.rule) == (one.sheet, one.rule)
        transaction.set_rollback(True)


def test_eight_places_take_as_many_queries_as_one():
    models = [make.make_damper_model() for _ in range(4)]
    vehicle_model = make.make_vehicle_model()
    for model in models:
        for position in ("front", "rear"):
            make.make_sheet(model, position=position)
    places = [Place(model, 2015, corner, vehicle_model) for model in models for corner in ("front_left", "rear_left")]

    def told(some):
        with CaptureQueriesContext(connection) as queries:
            found = sheets_for(some)
            for one in found:
                assert [one.sheet.damper_model, one.sheet.vehicle_model, one.sheet.entered_by, one.sheet.verified_by]
                assert len(one.sheet.values.all()) == 4
        return len(queries)

    assert told(places[:1]) == told(places) == 3
    assert sheets_for([]) == []
