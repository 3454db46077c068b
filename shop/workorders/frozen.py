"""A spec sheet as a job keeps it: plain values, independent of what becomes of the sheet."""

from dataclasses import asdict, dataclass, field

from shop.dampers.geometry import Geometry
from shop.dampers.measures import QUANTITY, Measure
from shop.specs.gas import Gas


@dataclass(frozen=True)
class FrozenValue:
    measure: str
    value_si: float
    low_si: float
    high_si: float
    figures: str
    unit: str
    tolerance: str
    page: str
    note: str

    @property
    def label(self) -> str:
        return Measure(self.measure).label

    @property
    def quantity(self) -> str:
        return QUANTITY[self.measure]


@dataclass(frozen=True)
class FrozenSheet:
    """Empty code: no sheet covered the damper when it was checked in."""

    code: str = ""
    version: int = 0
    edition: int = 0  # 0: frozen before editions were kept
    verified: bool = False
    years: str = ""
    position: str = ""
    vehicle: str = ""
    rule: str = ""
    document: str = ""
    revision: str = ""
    page: str = ""
    note: str = ""
    entered_by: str = ""
    verified_by: str = ""
    verified_on: str = ""
    # Where the charge is meant, and the height of these benches. None: frozen before sheets said so, and then the
    # figure holds as it is printed, as it did when the job was checked in.
    reference_k: float | None = None
    reference_altitude_m: float | None = None
    bench_altitude_m: float | None = None
    # Sizes of the damper model that were known.
    sizes: dict[str, float] = field(default_factory=dict)
    values: dict[str, FrozenValue] = field(default_factory=dict)

    @classmethod
    def read(cls, stored: dict | None) -> "FrozenSheet":
        stored = dict(stored or {})
        values = {name: FrozenValue(**value) for name, value in stored.pop("values", {}).items()}
        return cls(**stored, values=values)

    def stored(self) -> dict:
        """As JSON keeps it."""
        return asdict(self)

    def __bool__(self):
        return bool(self.code)

    @property
    def geometry(self) -> Geometry:
        return Geometry(**self.sizes)

    @property
    def gas(self) -> Gas | None:
        """What the gas depends on; None for a sheet that was frozen without its conditions or lacks a figure."""
        if None in (self.reference_k, self.reference_altitude_m):
            return None
        values = {name: value.value_si for name, value in self.values.items()}
        return Gas.of(values, self.reference_k, self.reference_altitude_m)

    @property
    def source(self) -> str:
        return f"{self.document}, {self.revision}, {self.page}"
