"""The measures of a damper model that decide what its gas does; all in SI, each of them optional."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Size:
    """One measure: its field on the damper model, what it is a value of, and the range that a damper can have."""

    name: str
    quantity: str
    label: str
    low_si: float
    high_si: float
    help: str = ""

    @property
    def argument(self) -> str:
        """The name without its unit, as forms and services say it."""
        for unit in ("_n_per_m", "_pa", "_m"):
            if self.name.endswith(unit):
                return self.name.removesuffix(unit)
        return self.name


SIZES = (
    Size("body_bore_m", "length", "Body bore", 0.005, 0.2, "Diameter in which the piston runs."),
    Size("reservoir_bore_m", "length", "Reservoir bore", 0.005, 0.2, "Diameter in which the IFP runs."),
    Size("reservoir_depth_m", "length", "Reservoir depth", 0.02, 0.5, "Rim to floor; no IFP sits deeper."),
    Size("cap_intrusion_m", "length", "Cap intrusion", 0, 0.2, "Of the cap below the rim; 0 if it stays above."),
    Size("shaft_m", "length", "Shaft diameter", 0.003, 0.1),
    Size("stroke_m", "length", "Stroke", 0.005, 1),
    Size("highest_gas_pa", "pressure", "Highest gas pressure", 1e5, 50e6, "At full stroke, the shop's own limit."),
    Size("spring_rate_n_per_m", "spring_rate", "Spring rate at the damper", 1e3, 1e6, "For the ride height."),
)


@dataclass(frozen=True)
class Geometry:
    """The sizes of a damper model as far as they are known."""

    body_bore_m: float | None = None
    reservoir_bore_m: float | None = None
    reservoir_depth_m: float | None = None
    cap_intrusion_m: float | None = None
    shaft_m: float | None = None
    stroke_m: float | None = None
    highest_gas_pa: float | None = None
    spring_rate_n_per_m: float | None = None

    @classmethod
    def of(cls, row) -> "Geometry":
        """From a damper model."""
        return cls(**{size.name: getattr(row, size.name) for size in SIZES})

    @property
    def complete(self) -> bool:
        """Whether the gas can be followed along the stroke."""
        return None not in (self.reservoir_bore_m, self.cap_intrusion_m, self.shaft_m, self.stroke_m)
