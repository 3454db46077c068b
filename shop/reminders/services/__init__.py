"""Every write of the reminders, a file per activity."""

from shop.reminders.services.answering import answer_meter, answer_sold, stop_reminders
from shop.reminders.services.asking import SEND_QUESTIONS, answer_by_link, mail_question, send_question_mails
from shop.reminders.services.forecasting import forecast_of, refresh_stale
from shop.reminders.services.sending import send_due_reminders
from shop.reminders.services.sweeping import sweep

__all__ = [
    "SEND_QUESTIONS",
    "answer_by_link",
    "answer_meter",
    "answer_sold",
    "forecast_of",
    "mail_question",
    "refresh_stale",
    "send_due_reminders",
    "send_question_mails",
    "stop_reminders",
    "sweep",
]
