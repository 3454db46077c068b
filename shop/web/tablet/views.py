from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from shop.core.clock import local_day
from shop.staff.services import confirm_bench_pin
from shop.web.access import allow
from shop.web.forms import submit
from shop.web.tablet.forms import (
    AsLeftForm,
    CheckForm,
    CloseForm,
    CorrectionForm,
    OverrideForm,
    ReadingForm,
    TagForm,
    UsedForm,
)
from shop.workorders import selectors, services
from shop.workorders.models import DamperJob, JobStatus, Moment, OrderStatus, Reading, WorkOrder
