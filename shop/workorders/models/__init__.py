"""Every table of the work on dampers, a file per activity."""

from shop.workorders.models.agreements import After, AgreedHow, Agreement, Question, QuestionState, Signed
from shop.workorders.models.bench_time import BenchBook, BenchPlan
from shop.workorders.models.jobs import (
    CardRevision,
    DamperJob,
    DamperJobQuerySet,
    JobStatus,
    Moment,
    Reading,
    ReadingQuerySet,
    Reopening,
    SecondCheck,
    SpecChange,
    StepDone,
)
from shop.workorders.models.orders import OrderStatus, Service, WorkOrder, WorkOrderQuerySet
from shop.workorders.models.photos import Condition, Photo, PhotoStrike, Shows
from shop.workorders.models.tools import TOOL_FOR, Tool, ToolKind

__all__ = [
    "TOOL_FOR",
    "After",
    "AgreedHow",
    "Agreement",
    "BenchBook",
    "BenchPlan",
    "CardRevision",
    "Condition",
    "DamperJob",
    "DamperJobQuerySet",
    "JobStatus",
    "Moment",
    "OrderStatus",
    "Photo",
    "PhotoStrike",
    "Question",
    "QuestionState",
    "Reading",
    "ReadingQuerySet",
    "Reopening",
    "SecondCheck",
    "Service",
    "Shows",
    "Signed",
    "SpecChange",
    "StepDone",
    "Tool",
    "ToolKind",
    "WorkOrder",
    "WorkOrderQuerySet",
]
