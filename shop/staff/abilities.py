"""Who may do what: asked by every page and every endpoint, written down once."""

from shop.staff.models import Role

ALL = frozenset(Role.values)
DESK = frozenset({Role.DESK, Role.MANAGER})
BENCH = frozenset({Role.TECHNICIAN, Role.MANAGER})
MANAGER = frozenset({Role.MANAGER})

ABILITIES = {
    "look": ALL,  # open any page that changes nothing
    "keep_customers": DESK,  # customers, vehicles, dampers, consent
    "book": DESK,  # book, check in, call off, hand back
    "read_meter": ALL,  # note a meter reading
    "photograph": ALL,  # photos of an order and its dampers
    "pick": ALL,  # take the parts of a pick list from the shelf
    "work": BENCH,  # readings, steps, checks, closing
    "override": MANAGER,  # close a job that lacks something, with a reason
    "count_stock": ALL,  # enter figures into a stock take that somebody started
    "write_off": MANAGER,  # throw stock away, with a reason
    "keep_stock": DESK,  # receive, count and order parts
    "keep_suppliers": MANAGER,  # suppliers, what they sell, prices, reorder points by hand
    "log_oil": ALL,  # note used oil and other waste fluids that go into a drum
    "keep_drums": DESK,  # drums, handing over to a hauler, corrections of the used-oil log
    "keep_specs": MANAGER,  # enter spec sheets
    "verify_specs": BENCH,  # confirm a sheet that somebody else entered
    "keep_staff": MANAGER,
    "keep_hours": MANAGER,  # working hours, bench hours, absences, closed days, labour times
    "exchange": DESK,  # tables in and out as files; each kind asks for its own ability besides
}
