from celery import shared_task
from django.utils import timezone

from shop.reminders import services


@shared_task(name="reminders.sweep", ignore_result=True)
def sweep() -> None:
    """At night and when the scheduler starts; a sweep too many makes no second reminder."""
    services.sweep(now=timezone.now())


@shared_task(name="reminders.send_due", ignore_result=True)
def send_due() -> None:
    """Every minute; a run too many sends nothing twice."""
    services.send_due_reminders(now=timezone.now())


@shared_task(name=services.SEND_QUESTIONS, ignore_result=True, soft_time_limit=50)
def send_questions() -> None:
    """At once when one is written, and every minute for what was lost; a run too many sends nothing twice."""
    services.send_question_mails(now=timezone.now())
