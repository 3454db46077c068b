"""Calculators of the oil: how much, how thick, which bottle, which containers."""

from django.conf import settings

from shop.calc import containers, oil
from shop.calc.errors import OutOfRange
from shop.figures.answered import Answer, Figure, Sentence
from shop.figures.asked import Choice, Number, Quantity
from shop.figures.calculator import Calculator, in_own, less_than, needs

GROUP = "Oil"
CAUTION = (
    "Used oil, solvent, rags",
    "by local rules and the product’s safety data sheet. Viscosity says nothing about additives and seals.",
)
ROWS = (1, 2, 3, 4)
COMPARED_AT_K = (293.15, oil.AT_40_C, 353.15)


def length(name, label, example, high, low=0.0005, **more) -> Quantity:
    return Quantity(name=name, label=label, quantity="length", example=example, low=low, high=high, **more)


def viscosity(name, label, example, high=20_000e-6, **more) -> Quantity:
    return Quantity(name=name, label=label, quantity="viscosity", example=example, low=0.21e-6, high=high, **more)


def oil_temperature(name, label, example, **more) -> Quantity:
    return Quantity(name=name, label=label, quantity="temperature", example=example, low=203.15, high=473.15, **more)


def fill(asked) -> Answer:
    less_than(asked, "shaft", asked.body_bore, "the body bore")
    if asked.shaft_inside > asked.body_length:
        raise OutOfRange("shaft_inside", None, f"at most the length of the body, {in_own(asked.body_length, 'length')}")
    less_than(asked, "ifp_height", asked.reservoir_length, "the length of the reservoir")
    room = asked.reservoir_length - asked.ifp_height
    if asked.ifp_depth > room:
        raise OutOfRange("ifp_depth", None, f"at most {in_own(room, 'length')}, so that the IFP is in the reservoir")
    volume = oil.fill_volume(
        body_bore_m=asked.body_bore,
        body_length_m=asked.body_length,
        shaft_m=asked.shaft,
        shaft_inside_m=asked.shaft_inside,
        reservoir_bore_m=asked.reservoir_bore,
        reservoir_length_m=asked.reservoir_length,
        ifp_depth_m=asked.ifp_depth,
        ifp_height_m=asked.ifp_height,
        solids_m3=asked.solids,
        passages_m3=asked.passages,
    )
    figures = [
        Figure("take", "Oil to take, with the allowance", oil.with_allowance(volume, asked.allowance), "volume"),
        Figure("holds", "Oil the damper holds", volume, "volume"),
    ]
    if asked.warm is not None:
        warm = oil.volume_at(volume, asked.temperature, asked.warm, rho15_kg_per_m3=asked.density)
        figures.append(Figure("warm", "The same oil when warm", warm, "volume"))
        figures.append(Figure("growth", "It grows by", warm - volume, "volume", digits=1, signed=True))
    return Answer(tuple(figures))


FILL = Calculator(
    name="oil-fill",
    group=GROUP,
    title="Oil for one damper",
    purpose="What a damper with a reservoir holds by its measures, what to take, and how much it grows.",
    inputs=(
        length("body_bore", "Body bore", "2 in", 0.2),
        length("body_length", "Body, floor to seal head", "10 in", 2),
        length("shaft", "Shaft diameter", "0.625 in", 0.1),
        length("shaft_inside", "Shaft inside the body", "2 in", 2, low=0, help="Shaft fully extended."),
        length("reservoir_bore", "Reservoir bore", "1.5 in", 0.2),
        length("reservoir_length", "Reservoir, rim to floor", "6 in", 1),
        length("ifp_depth", "IFP depth", "2.4 in", 0.5, help="Rim to the face of the IFP."),
        length("ifp_height", "Height of the IFP", "0.6 in", 0.2),
        Quantity(
            name="solids",
            label="Piston, shims and nut",
            quantity="volume",
            example="25 mL",
            default="0 mL",
            low=0,
            high=0.01,
        ),
        Quantity(
            name="passages",
            label="Hose and adjuster",
            quantity="volume",
            example="10 mL",
            default="0 mL",
            low=0,
            high=0.01,
        ),
        Number(
            name="allowance",
            label="Allowance for bleeding and spilling",
            example="10",
            default=lambda: f"{settings.OIL_ALLOWANCE_PERCENT:g}",
            low=0,
            high=100,
            symbol="%",
        ),
        oil_temperature("temperature", "Temperature at filling", "68 °F", default="20 °C"),
        oil_temperature("warm", "Temperature of the warm damper", "176 °F", required=False),
        Quantity(
            name="density",
            label="Density at 15 °C",
            quantity="density",
            example="870 kg/m³",
            default="870 kg/m³",
            low=750,
            high=1160,
            help="From the oil’s data sheet.",
        ),
    ),
    work=fill,
    formula=(
        "π/4 · body bore² · length − π/4 · shaft² · length inside − solids + π/4 · reservoir bore² · (length − IFP "
        "height − IFP depth) + hose and adjuster; times (1 + allowance / 100).",
        "Growth: V · exp(−α ΔT (1 + 0.8 α ΔT)) at the two temperatures, α = 0.6278 / density.",
    ),
    validity="Shaft fully extended, round bores, 750 to 1160 kg/m³, −70 to 200 °C. The level on the sheet goes first.",
    source="geometry; ASTM D1250 / API MPMS 11.1, lubricating oils (constant from memory)",
    caution=CAUTION,
    blame={"temperature_k": "warm", "rho15_kg_per_m3": "density", "volume_m3": "body_bore"},
)


def thickness(asked) -> Answer:
    nu40 = asked.nu40 * 1e6
    if asked.nu100 is None:
        needs(asked, "index", "the viscosity at 100 °C or the viscosity index, one of the two")
        nu100 = oil.nu100_for_index(nu40, asked.index)
    elif asked.index is not None:
        raise OutOfRange("index", None, "the viscosity at 100 °C or the index, not both")
    else:
        less_than(asked, "nu100", asked.nu40, "the viscosity at 40 °C", "viscosity")
        nu100 = asked.nu100 * 1e6
    nu = oil.Oil(nu40, nu100).at(asked.temperature)
    figures = [Figure("viscosity", "Viscosity at this temperature", nu * 1e-6, "viscosity")]
    sentences = []
    if asked.nu100 is None:
        figures.append(Figure("nu100", "Viscosity at 100 °C", nu100 * 1e-6, "viscosity"))
    elif nu100 >= 2:
        figures.append(Figure("index", "Viscosity index", oil.viscosity_index(nu40, nu100)))
    else:
        sentences.append(Sentence("Below 2 mm²/s at 100 °C there is no viscosity index."))
    grade = oil.iso_vg(nu40)
    text = f"ISO VG {grade}" if grade else "between two grades"
    figures.append(Figure("grade", "Grade by its viscosity at 40 °C", text=text))
    if not oil.AT_40_C <= asked.temperature <= oil.AT_100_C:
        sentences.append(Sentence("Outside 40 to 100 °C this is drawn on from the two points: less certain.", "care"))
    return Answer(tuple(figures), tuple(sentences))


THICKNESS = Calculator(
    name="oil-viscosity",
    group=GROUP,
    title="Viscosity of an oil",
    purpose="How thick an oil is at a temperature, its index and its ISO grade, from its data sheet.",
    inputs=(
        viscosity("nu40", "Viscosity at 40 °C", "16 mm²/s"),
        viscosity("nu100", "Viscosity at 100 °C", "4.5 mm²/s", 500e-6, required=False, help="Or the index."),
        Number(name="index", label="Viscosity index", example="200", low=-200, high=500, required=False),
        oil_temperature("temperature", "Temperature asked for", "68 °F"),
    ),
    work=thickness,
    formula=(
        "log log Z = A − B log T, Z = ν + 0.7 + exp(−1.47 − 1.84 ν − 0.51 ν²), through the two points.",
        "Index up to 100: (L − U) / (L − H) · 100; above: (10^N − 1) / 0.00715 + 100.",
        "ISO VG: the middle of the grade ± 10 % at 40 °C.",
    ),
    validity="0.21 to 20000 mm²/s, −70 to 200 °C, not near the pour point; index from 2 mm²/s at 100 °C up. “5 weight” "
    "is a label, no standard.",
    source="ASTM D341, ASTM D2270 (ISO 2909, coefficients from memory), ISO 3448",
    caution=CAUTION,
    blame={
        "t_k": "temperature",
        "nu1_mm2_per_s": "nu40",
        "nu2_mm2_per_s": "nu100",
        "nu40_mm2_per_s": "nu40",
        "nu100_mm2_per_s": "nu100",
    },
    left_out=frozenset({"index"}),
)


def flowing(name: str, nu40: float, nu100: float) -> oil.Oil:
    """An oil that has a viscosity at every temperature of the comparison, else a refusal under its input."""
    one = oil.Oil(nu40 * 1e6, nu100 * 1e6)
    try:
        for kelvin in COMPARED_AT_K:
            one.at(kelvin)
    except OutOfRange:
        raise OutOfRange(name, None, "two viscosities of an oil that flows at 20, 40 and 80 °C") from None
    return one


def replace(asked) -> Answer:
    less_than(asked, "wanted100", asked.wanted40, "its viscosity at 40 °C", "viscosity")
    less_than(asked, "bottle100", asked.bottle40, "its viscosity at 40 °C", "viscosity")
    wanted = flowing("wanted40", asked.wanted40, asked.wanted100)
    bottle = flowing("bottle40", asked.bottle40, asked.bottle100)
    found = oil.may_replace(wanted, bottle, band_percent=asked.band, temperatures_k=COMPARED_AT_K)
    verdict = "Yes, by viscosity" if found.allowed else "No"
    return Answer(
        (Figure("verdict", "May this bottle stand in", text=verdict),),
        tuple(Sentence(one, "refused" if ", outside" in one else "ok") for one in found.reasons),
    )


REPLACE = Calculator(
    name="oil-replacement",
    group=GROUP,
    title="May this bottle stand in",
    purpose="Whether an oil is as thick as the one asked for at 20, 40 and 80 °C, in figures.",
    inputs=(
        viscosity("wanted40", "Asked for: at 40 °C", "16 mm²/s"),
        viscosity("wanted100", "Asked for: at 100 °C", "4.5 mm²/s"),
        viscosity("bottle40", "This bottle: at 40 °C", "15.2 mm²/s"),
        viscosity("bottle100", "This bottle: at 100 °C", "4.2 mm²/s"),
        Number(name="band", label="Band either side", example="10", default="10", low=0, high=100, symbol="%"),
    ),
    work=replace,
    formula=("(viscosity of the bottle / viscosity asked for − 1) · 100 at 20, 40 and 80 °C, each within the band.",),
    validity="As for the viscosity of an oil. The band is the shop’s choice; additives and seals are not compared.",
    source="ASTM D341; the band: common practice, no source",
    caution=CAUTION,
    blame={"band_percent": "band"},
)


def shelf(asked) -> Answer:
    need = max(-(-round(asked.volume * 1e9) // 1000), 1)  # whole mL, rounded up
    sizes = []
    for row in ROWS:
        size, price, stock = (getattr(asked, f"{name}_{row}") for name in ("size", "price", "stock"))
        if size is None:
            if price is not None or stock is not None:
                needs(asked, f"size_{row}", "the size that this price or stock belongs to")
            continue
        needs(asked, f"price_{row}", "the price of this size, 0 where it does not matter")
        number = None if stock is None else int(stock)
        sizes.append(containers.Container(row, round(size * 1e9) // 1000, round(price * 100), number))
    left = round(asked.opened * 1e9) // 1000
    opened = [containers.Opened("opened", left)] if left else []
    try:
        found = containers.cover(need, sizes, opened, asked.objective)
    except containers.NotEnough as error:
        raise OutOfRange("volume", None, f"at most {in_own(error.available * 1e-6, 'volume')}, all there is") from None
    taken = [f"{number} of {asked.typed[f'size_{row}']}" for row, number in sorted(found.counts.items())]
    if found.opened:
        taken.insert(0, f"{in_own(found.opened[0][1] * 1e-6, 'volume')} from the opened one")
    cost = f"{found.cost / 100:.2f} {settings.CURRENCY}"
    return Answer(
        (
            Figure("take", "Take", text=" and ".join(taken)),
            Figure("count", "Containers", float(found.count)),
            Figure("cost", "Price of these", text=cost),
            Figure("waste", "Stays over in them", found.waste * 1e-6, "volume"),
        )
    )


def row(number: int) -> tuple:
    first = number == 1
    examples = {1: ("1 L", "14.50"), 2: ("4 L", "49.00"), 3: ("20 L", "210"), 4: ("100 mL", "3")}[number]
    return (
        Quantity(
            name=f"size_{number}",
            label=f"Size {number}",
            quantity="volume",
            example=examples[0],
            low=1e-6,
            high=0.25,
            required=first,
        ),
        Number(
            name=f"price_{number}",
            label=f"Price of size {number}",
            example=examples[1],
            low=0,
            high=100_000,
            decimals=2,
            required=first,
        ),
        Number(
            name=f"stock_{number}",
            label=f"In stock of size {number}",
            example="3",
            low=0,
            high=1000,
            decimals=0,
            required=False,
            help="Empty: as many as wanted.",
        ),
    )


SHELF = Calculator(
    name="containers",
    group=GROUP,
    title="Which containers to take",
    purpose="Whole containers for an amount: opened one first, then the cheapest set, or the one that wastes least.",
    inputs=(
        Quantity(name="volume", label="Oil needed", quantity="volume", example="2.6 L", low=1e-6, high=0.06),
        Quantity(
            name="opened",
            label="Left in the opened one",
            quantity="volume",
            example="300 mL",
            default="0 mL",
            low=0,
            high=0.25,
        ),
        Choice(
            name="objective",
            label="Look for",
            options=(("cost", "least cost"), ("waste", "least left over")),
            default="cost",
            example="cost",
        ),
        *row(1),
        *row(2),
        *row(3),
        *row(4),
    ),
    work=shelf,
    formula=("Exact: all sets that hold the amount are weighed; of equal ones the next of cost, waste, number.",),
    validity="Up to 60 L; counted in whole millilitres, sizes rounded down, the amount rounded up.",
    source="branch and bound; each answer is the best there is",
    caution=CAUTION,
    blame={"need": "volume"},
    columns=3,
)

CALCULATORS = (FILL, THICKNESS, REPLACE, SHELF)
