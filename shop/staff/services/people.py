from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime, timedelta

from django.contrib.auth.hashers import check_password, make_password
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import transaction
from django.db.models import Q
from rest_framework.authtoken.models import Token

from shop.core.clock import local_day
from shop.core.errors import Conflict, refused
from shop.staff.models import AuditEntry, BenchHours, Role, User

PIN_MISSES_ALLOWED = 5
PIN_LOCKED_FOR = timedelta(minutes=10)
PIN_COLUMNS = ["bench_pin", "bench_pin_misses", "bench_pin_locked_until"]


_origin: ContextVar[str] = ContextVar("origin", default="")


@contextmanager
def coming_from(origin: str):
    """Whatever is noted inside says where it came from: coming_from("from parts.csv, line 12")."""
    token = _origin.set(f" ({origin})")
    try:
        yield
    finally:
        _origin.reset(token)


def note(*, who: User | str, kind: str, key, what: str, at: datetime) -> AuditEntry:
    """Add one line to the audit trail, in the caller's transaction."""
    entry = _entry(who, kind, key, what, _origin.get(), at)
    entry.save(force_insert=True)
    return entry


def note_each(*, who: User | str, kind: str, lines: list[tuple], at: datetime) -> None:
    """Add many lines at once: (key, what, origin), the last as coming_from would say it, or empty."""
    AuditEntry.objects.bulk_create(
        [_entry(who, kind, key, what, f" ({origin})" if origin else _origin.get(), at) for key, what, origin in lines]
    )


def _entry(who: User | str, kind: str, key, what: str, origin: str, at: datetime) -> AuditEntry:
    what = what[: 500 - len(origin)] + origin
    return AuditEntry(who=str(who)[:150], kind=kind, key=str(key), what=what, at=at)


@transaction.atomic
def set_bench_pin(*, user: User, pin: str, by: User | str, at: datetime) -> User:
    """Give a person a new bench PIN of 4 to 8 digits; misses of the old one are forgotten."""
    if not (pin.isascii() and pin.isdigit() and 4 <= len(pin) <= 8):
        raise refused("pin", "A bench PIN has 4 to 8 digits and nothing else.", "pin_shape")
    user = _at_work(user)
    _change_pin(user, make_password(pin))
    user.save(update_fields=PIN_COLUMNS)
    note(who=by, kind="user", key=user.pk, what="new bench PIN", at=at)
    return user


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
    left = PIN_MISSES_ALLOWED - user.bench_pin_misses
    return f"Wrong PIN for {user}. {left} {'try' if left == 1 else 'tries'} left."


@transaction.atomic
def create_user(
    *, username: str, password: str, role: str, first_name: str, last_name: str = "", by: User | str, at: datetime
) -> User:
    """Add somebody who works in the shop."""
    user = User(username=username.strip(), role=role, first_name=first_name.strip(), last_name=last_name.strip())
    user.full_clean(exclude=["password"])
    _check_password(password, user)
    user.set_password(password)
    user.save()
    note(who=by, kind="user", key=user.pk, what=f"added: {user}, {user.get_role_display()}", at=at)
    return user


@transaction.atomic
def set_password(*, user: User, password: str, by: User | str, at: datetime) -> User:
    """Give a person a new password. Whoever came in with the old one is out: in other browsers, and with a token."""
    user = _at_work(user)
    _check_password(password, user)
    user.set_password(password)
    user.save(update_fields=["password"])
    Token.objects.filter(user=user).delete()
    note(who=by, kind="user", key=user.pk, what="new password", at=at)
    return user


@transaction.atomic
def change_role(*, user: User, role: str, by: User | str, at: datetime) -> User:
    """Let a person do what another role does, from their next page on."""
    if role not in Role.values:
        raise refused("role", f"“{role}” is none of: {', '.join(Role.values)}.", "unknown_role")
    user = _at_work(user)
    if user.role == role:
        return user
    if role != Role.MANAGER:
        _check_a_manager_stays(user, "role")
    user.role = role
    user.save(update_fields=["role"])
    note(who=by, kind="user", key=user.pk, what=f"role: {user.get_role_display()}", at=at)
    return user


@transaction.atomic
def let_go(*, user: User, by: User | str, at: datetime) -> User:
    """A person works here no more: no log-in, no token, no bench PIN, and open sessions end. Twice is as good as once.

    What they did stays in the books under their name.
    """
    user = _locked(user)
    if not user.is_active:
        return user
    _check_a_manager_stays(user, None)
    user.is_active = False
    user.set_unusable_password()  # a new one each time: no session made before is good after take_back
    _change_pin(user, "")
    user.save(update_fields=["is_active", "password", *PIN_COLUMNS])
    Token.objects.filter(user=user).delete()
    end_bench_hours(person=user, from_day=local_day(at))
    note(who=by, kind="user", key=user.pk, what=f"let go: {user}", at=at)
    return user


@transaction.atomic
def take_back(*, user: User, by: User | str, at: datetime) -> User:
    """A person who was let go works here again, in the role they had; they need a new password and bench PIN."""
    user = _locked(user)
    if user.is_active:
        return user
    user.is_active = True
    user.save(update_fields=["is_active"])
    note(who=by, kind="user", key=user.pk, what=f"taken back: {user}, {user.get_role_display()}", at=at)
    return user


def end_bench_hours(*, person: User, from_day: date) -> None:
    """No bench hours from a day on; what was true before stays."""
    person.bench_hours.filter(from_day__gte=from_day).delete()
    if person.bench_hours.exists():
        BenchHours.objects.bulk_create(
            BenchHours(person=person, from_day=from_day, weekday=weekday, minutes=0) for weekday in range(7)
        )


def _locked(user: User) -> User:
    """The person as they are now, under a lock together with every manager, always in one order.

    So of two managers who let each other go at once, one waits and sees what the other did.
    """
    rows = (
        User.objects.select_for_update(no_key=True)
        .filter(Q(pk=user.pk) | Q(is_active=True, role=Role.MANAGER))
        .order_by("pk")
    )
    return next(row for row in rows if row.pk == user.pk)


def _at_work(user: User) -> User:
    user = _locked(user)
    if not user.is_active:
        raise Conflict(f"{user} does not work here any more. Take them back first.", code="let_go")
    return user


def _check_a_manager_stays(user: User, field: str | None) -> None:
    if user.role != Role.MANAGER or User.objects.filter(is_active=True, role=Role.MANAGER).exclude(pk=user.pk).exists():
        return
    words = f"{user} is the last manager. Make somebody else a manager first, or nobody can keep staff and specs."
    raise refused(field or NON_FIELD_ERRORS, words, "last_manager")


def _check_password(password: str, user: User) -> None:
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise ValidationError({"password": error.messages}) from error


def _change_pin(user: User, hashed: str) -> None:
    user.bench_pin, user.bench_pin_misses, user.bench_pin_locked_until = hashed, 0, None
