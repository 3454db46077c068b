"""What was agreed with the customer, what is asked, and what was answered."""

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint, Listing
from api.fields import Brief, Choice, Input, Money, Ref
from api.permissions import Allows
from shop.reminders.links import question_url
from shop.reminders.services import mail_question
from shop.workorders.agreed import outcome_in_words
from shop.workorders.models import After, AgreedHow, Agreement, DamperJob, Question, QuestionState, WorkOrder
from shop.workorders.services import (
    NewAgreement,
    answer_question,
    ask_customer,
    ask_proposed,
    note_agreement,
    propose_question,
    settle_declined,
    withdraw_question,
)

HOW = [(one.value, one.label) for one in AgreedHow if one != AgreedHow.LINK]


class AgreementInput(Input):
    """What was agreed, by whom and up to which price in all."""

    what = serializers.CharField(max_length=500)
    up_to = Money(
        allow_null=True, default=None, help_text="For the whole order. Empty: no limit was agreed, ask first."
    )
    agreed_by = serializers.CharField(max_length=120, help_text="Name of who agreed.")
    how = Choice(HOW, default=AgreedHow.DESK.value)

    def validate(self, data):
        return {"agreed": NewAgreement(**data)}


class AgreementOutput(serializers.ModelSerializer):
    up_to = Money(allow_null=True)
    by = Brief(allow_null=True)

    class Meta:
        model = Agreement
        fields = ["id", "what", "up_to", "agreed_by", "how", "signed", "question", "by", "at"]
        read_only_fields = fields


class ProposalInput(Input):
    what = serializers.CharField(max_length=300, help_text="What more is needed.")
    why = serializers.CharField(max_length=500)


class AskInput(ProposalInput):
    job = Ref(queryset=DamperJob.objects.all(), allow_null=True, default=None, help_text="Empty: the whole order.")
    by_how_much = Money()
    new_total = Money(required=False, help_text="Only where no limit was agreed; else it is reckoned.")


class PriceInput(Input):
    by_how_much = Money()
    new_total = Money(required=False, help_text="Only where no limit was agreed; else it is reckoned.")
    what = serializers.CharField(max_length=300, allow_blank=True, default="", help_text="Empty: as proposed.")
    why = serializers.CharField(max_length=500, allow_blank=True, default="", help_text="Empty: as proposed.")


class AnswerInput(Input):
    agreed = serializers.BooleanField()
    name = serializers.CharField(max_length=120, help_text="Who answered.")
    how = Choice(HOW)
    new_total = Money(required=False, help_text="The one that the customer was told: 409 when it is another by now.")
    after = Choice(
        After.choices, allow_blank=True, default="", help_text="If not agreed: what happens. Empty: decided later."
    )


class WhyInput(Input):
    why = serializers.CharField(max_length=300)


class AfterInput(Input):
    after = Choice(After.choices)


class QuestionMailOutput(serializers.Serializer):
    to_address = serializers.CharField()
    status = serializers.CharField()
    error = serializers.CharField()
    created_at = serializers.DateTimeField()
    sent_at = serializers.DateTimeField(allow_null=True)


class QuestionOutput(serializers.ModelSerializer):
    """A question to the customer. While it waits, what it is about stands still."""

    order = Brief()
    job = Brief(allow_null=True)
    by_how_much = Money(allow_null=True)
    new_total = Money(allow_null=True)
    waits = serializers.BooleanField(help_text="Whether work stands still for it.")
    outcome = serializers.SerializerMethodField(help_text="In words: who, when, how.")
    proposed_by = Brief()
    asked_by = Brief(allow_null=True)
    answered_by = Brief(allow_null=True)
    link = serializers.SerializerMethodField(help_text="For the customer, while it is open; only for the front desk.")
    mails = QuestionMailOutput(many=True)

    class Meta:
        model = Question
        fields = [
            "id", "order", "job", "what", "why", "by_how_much", "new_total", "state", "waits", "outcome",
            "proposed_by", "proposed_at", "asked_by", "asked_at", "link", "link_until", "call_wanted_at",
            "answered_name", "answered_how", "answered_by", "answered_at", "withdrawn_why", "after", "mails",
        ]  # fmt: skip
        read_only_fields = fields

    def get_outcome(self, question) -> str:
        return outcome_in_words(question)

    def get_link(self, question) -> str:
        usable = question.state == QuestionState.OPEN and question.link_until > timezone.now()
        return question_url(question) if usable and self.context["may_book"] else ""


ROWS = Question.objects.with_names().prefetch_related("mails")


class AgreementList(Listing):
    permission_classes = [Allows("look", write="book")]

    @extend_schema(responses=AgreementOutput(many=True))
    def get(self, request, pk):
        """List what was agreed about an order; the last one holds."""
        self.query(Input)
        return self.page(self.find(WorkOrder, pk).agreements.select_related("by"), AgreementOutput)

    @extend_schema(request=AgreementInput, responses={201: AgreementOutput})
    def post(self, request, pk):
        """Note what was agreed from now on."""
        made = self.do(note_agreement, order=self.find(WorkOrder, pk), **self.body(AgreementInput))
        return Response(AgreementOutput(made).data, status=201)


class QuestionEndpoint(Endpoint):
    def answer(self, question, status=200):
        row = self.find(ROWS, question.pk)
        context = {"may_book": self.request.user.may("book")}
        return Response(QuestionOutput(row, context=context).data, status=status)


class QuestionList(QuestionEndpoint, Listing):
    permission_classes = [Allows("look", write="book")]

    @extend_schema(responses=QuestionOutput(many=True))
    def get(self, request, pk):
        """List what was asked about an order."""
        self.query(Input)
        pages = self.pagination_class()
        found = pages.paginate_queryset(ROWS.filter(order=self.find(WorkOrder, pk)), request, self)
        context = {"may_book": request.user.may("book")}
        return pages.get_paginated_response(QuestionOutput(found, many=True, context=context).data)

    @extend_schema(request=AskInput, responses={201: QuestionOutput})
    def post(self, request, pk):
        """Ask the customer; what it is about stands still until there is an answer."""
        return self.answer(self.do(ask_customer, order=self.find(WorkOrder, pk), **self.body(AskInput)), 201)


class JobPropose(QuestionEndpoint):
    permission_classes = [Allows("work")]

    @extend_schema(request=ProposalInput, responses={201: QuestionOutput})
    def post(self, request, pk):
        """Say at the bench that a damper needs more than was agreed; the front desk gives the price and asks."""
        rows = DamperJob.objects.select_related("order")
        return self.answer(self.do(propose_question, job=self.find(rows, pk), **self.body(ProposalInput)), 201)


class QuestionDetail(QuestionEndpoint):
    permission_classes = [Allows("look")]

    @extend_schema(responses=QuestionOutput)
    def get(self, request, pk):
        """Read a question and how it stands."""
        return self.answer(self.find(ROWS, pk))


class QuestionPrice(QuestionEndpoint):
    permission_classes = [Allows("book")]

    @extend_schema(request=PriceInput, responses=QuestionOutput)
    def post(self, request, pk):
        """Give the price of what the bench proposed, and ask the customer."""
        return self.answer(self.do(ask_proposed, question=self.find(ROWS, pk), **self.body(PriceInput)))


class QuestionAnswer(QuestionEndpoint):
    permission_classes = [Allows("book")]

    @extend_schema(request=AnswerInput, responses=QuestionOutput)
    def post(self, request, pk):
        """Note the customer's answer; the first one stands."""
        return self.answer(self.do(answer_question, question=self.find(ROWS, pk), **self.body(AnswerInput)))


class QuestionWithdraw(QuestionEndpoint):
    permission_classes = [Allows("book")]

    @extend_schema(request=WhyInput, responses=QuestionOutput)
    def post(self, request, pk):
        """Ask it no more: the link stops working and the work goes on."""
        return self.answer(self.do(withdraw_question, question=self.find(ROWS, pk), **self.body(WhyInput)))


class QuestionAfter(QuestionEndpoint):
    permission_classes = [Allows("book")]

    @extend_schema(request=AfterInput, responses=QuestionOutput)
    def post(self, request, pk):
        """Say what happens to the damper when the customer did not agree."""
        return self.answer(self.do(settle_declined, question=self.find(ROWS, pk), **self.body(AfterInput)))


class QuestionMail(QuestionEndpoint):
    permission_classes = [Allows("book")]

    @extend_schema(request=Input, responses=QuestionOutput)
    def post(self, request, pk):
        """Send the question with its link to the customer by e-mail; what became of it stands in mails."""
        self.body(Input)
        question = self.find(ROWS, pk)
        self.do(mail_question, question=question)
        return self.answer(question)
