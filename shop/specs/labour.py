"""How long a rebuild takes at the benches: of a damper model, else the shop's default, and what each order adds."""

from collections import Counter
from dataclasses import dataclass

from django.db.models import Q

from shop.calc.bench_time import hours
from shop.core.services import fingerprint
from shop.dampers.models import DamperModel
from shop.specs.models import LabourTime

# Until a manager sets the shop's own: a beginning, common practice, no source.
FIRST_MINUTES, FIRST_ORDER_MINUTES = 75, 30
TOLD = ("pk", "minutes", "order_minutes")


@dataclass(frozen=True)
class Labour:
    """Bench minutes of an order, and in words how they come about."""

    minutes: int
    words: str


def labour_for(damper_models: list[DamperModel]) -> Labour:
    """What the rebuild of such dampers takes, one model per damper; in one query. No damper takes nothing."""
    rows = {
        row.damper_model_id: row
        for row in LabourTime.objects.filter(Q(damper_model=None) | Q(damper_model__in=damper_models))
    }
    if not damper_models:
        return Labour(0, "no damper")
    default = rows.get(None) or LabourTime(minutes=FIRST_MINUTES, order_minutes=FIRST_ORDER_MINUTES)
    each = Counter(rows.get(model.pk, default).minutes for model in damper_models)
    parts = [f"{count} × {hours(minutes)}" for minutes, count in sorted(each.items(), reverse=True)]
    if default.order_minutes:
        parts.append(f"{hours(default.order_minutes)} for the order")
    total = sum(minutes * count for minutes, count in each.items()) + default.order_minutes
    return Labour(total, " and ".join(parts))


def labour_time_for(damper_model: DamperModel | None) -> tuple[LabourTime, str]:
    """The labour time that holds for a model, or the shop's default, and the rule that chose it."""
    rows = {row.damper_model_id: row for row in LabourTime.objects.filter(_of(damper_model))}
    if damper_model and damper_model.pk in rows:
        return rows[damper_model.pk], "Its own labour time holds."
    if None in rows:
        of_model = "It has none of its own, so the shop's default holds."
        return rows[None], of_model if damper_model else "It is the shop's own."
    first = LabourTime(minutes=FIRST_MINUTES, order_minutes=FIRST_ORDER_MINUTES)
    return first, "The shop has set none yet, so these are taken. Measure your own, then set them."


def _of(damper_model: DamperModel | None) -> Q:
    return Q(damper_model=None) | Q(damper_model=damper_model) if damper_model else Q(damper_model=None)


def as_seen(row: LabourTime | None) -> str:
    """A mark of all that a labour time says: another one, and somebody has changed it since it was read."""
    return fingerprint([getattr(row, name) for name in TOLD]) if row else ""
