from datetime import datetime, timedelta

from django.contrib.auth.hashers import check_password, make_password
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from shop.core.errors import refused
from shop.staff.models import AuditEntry, User

PIN_MISSES_ALLOWED = 5
PIN_LOCKED_FOR = timedelta(minutes=10)


def note(*, who: User | str, kind: str, key, what: str, at: datetime) -> AuditEntry:
    """Add one line to the audit trail, in the caller's transaction."""
    return AuditEntry.objects.create(who=str(who)[:150], kind=kind, key=str(key), what=what[:500], at=at)


def set_bench_pin(*, user: User, pin: str) -> None:
    """Give a person a new bench PIN of 4 to 8 digits."""
    if not (pin.isascii() and pin.isdigit() and 4 <= len(pin) <= 8):
        raise refused("pin", "A bench PIN has 4 to 8 digits and nothing else.", "pin_shape")
    user.bench_pin, user.bench_pin_misses, user.bench_pin_locked_until = make_password(pin), 0, None
    user.save(update_fields=["bench_pin", "bench_pin_misses", "bench_pin_locked_until"])


def confirm_bench_pin(*, user: User, pin: str, at: datetime) -> None:
    """Raise ValidationError "pin" unless this is the person's PIN; five misses lock it for ten minutes.

    Commits its own count of misses: call it outside the transaction that the PIN is to permit.
    """
    with transaction.atomic():
        user = User.objects.select_for_update().get(pk=user.pk)
        refusal = _pin_refusal(user, pin, at)
        user.save(update_fields=["bench_pin_misses", "bench_pin_locked_until"])
    if refusal:
        raise refused("pin", refusal, "pin")


def _pin_refusal(user: User, pin: str, at: datetime) -> str | None:
    if not user.bench_pin:
        return f"{user} has no bench PIN yet. A manager sets one on the staff page."
    if user.bench_pin_locked_until and at < user.bench_pin_locked_until:
        minutes = int((user.bench_pin_locked_until - at).total_seconds() // 60) + 1
        return f"Too many wrong PINs for {user}: locked for another {minutes} min. Ask a manager if it is urgent."
    if check_password(pin, user.bench_pin):
        user.bench_pin_misses, user.bench_pin_locked_until = 0, None
        return None
    user.bench_pin_misses += 1
    if user.bench_pin_misses >= PIN_MISSES_ALLOWED:
        user.bench_pin_misses, user.bench_pin_locked_until = 0, at + PIN_LOCKED_FOR
        return f"Wrong PIN for {user}, five times now: locked for 10 min."
    return f"Wrong PIN for {user}. {PIN_MISSES_ALLOWED - user.bench_pin_misses} tries left."


@transaction.atomic
def create_user(
    *, username: str, password: str, role: str, first_name: str, last_name: str = "", by: User | str, at: datetime
) -> User:
    """Add somebody who works in the shop."""
    user = User(username=username.strip(), role=role, first_name=first_name.strip(), last_name=last_name.strip())
    user.full_clean(exclude=["password"])
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise ValidationError({"password": error.messages}) from error
    user.set_password(password)
    user.save()
    note(who=by, kind="user", key=user.pk, what=f"added: {user}, {user.get_role_display()}", at=at)
    return user
