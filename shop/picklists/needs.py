"""What a damper's bag needs, in plain values: as it is asked for, and as a pick list keeps it."""

from dataclasses import asdict, dataclass, field


@dataclass(frozen=True)
class Choice:
    """One part of which a line takes so much; base units.

    by_sheet: the amount is the damper's sheet's, not its parts list's; None where that was not noted. It says where an
    amount comes from and makes no other need of it.
    """

    part_number: str
    name: str
    amount: int
    from_draft: bool = False
    by_sheet: bool | None = field(default=None, compare=False)

    def __str__(self):
        return f"{self.part_number} {self.name}"


@dataclass(frozen=True)
class Need:
    """So much of a part for one damper's bag; base units.

    Of the part and its alternates one is taken, the part itself unless somebody chooses otherwise. An optional one is
    only offered: it is taken once somebody takes it up. by_sheet as of a Choice.
    """

    tag: str
    part_number: str
    name: str
    measure: str
    amount: int
    from_draft: bool = False
    alternates: tuple[Choice, ...] = ()
    optional: bool = False
    by_sheet: bool | None = field(default=None, compare=False)

    @property
    def chain(self) -> tuple[Choice, ...]:
        """The part itself, then its alternates by rank."""
        return Choice(self.part_number, self.name, self.amount, self.from_draft, self.by_sheet), *self.alternates

    def stored(self) -> dict:
        """As JSON keeps it."""
        return asdict(self)

    @classmethod
    def read(cls, stored: dict) -> "Need":
        return cls(**stored | {"alternates": tuple(Choice(**one) for one in stored["alternates"])})
