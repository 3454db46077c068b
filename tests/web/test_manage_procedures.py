"""Procedures on the manager's pages: read, drafted, changed step by step, compared, made current."""

import pytest
from django.urls import reverse

from shop.specs import services
from shop.specs.models import Procedure
from shop.specs.selectors import current_procedure
from tests import factories as make
from tests.factories import NOON
from tests.web.people import form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
LIST, NEW = reverse("manage:procedures"), reverse("manage:procedure_new")


def at(name, *keys):
    return reverse(f"manage:procedure_{name}", args=[getattr(key, "pk", key) for key in keys])


@pytest.fixture
def draft(manager):
    return make.make_draft(manager)


def titles(procedure):
    return [step.title for step in procedure.steps.all()]


# --- reading


def test_the_list_tells_every_version_and_which_one_is_current(as_manager, draft):
    page = words(as_manager.get(LIST))
    assert "Version 3 DRAFT 15 steps, begun by Mika Sorensdal, 25 November 2026 Go on with it" in page
    assert "Version 2 current 15 steps, made current" in page
    assert "came with Damperbook What changed" in page
    assert "Version 1 former 14 steps" in page


def test_the_list_takes_as_many_queries_for_many_versions_as_for_few(at_desk, manager, django_assert_num_queries):
    with django_assert_num_queries(3):  # session, user, procedures
        at_desk.get(LIST)
    for _ in range(4):
        make.put_in_force(make.make_draft(manager), manager)
    make.make_draft(manager, name="Seal service")
    with django_assert_num_queries(3):
        at_desk.get(LIST)


def test_a_version_reads_as_the_bench_reads_it(at_bench):
    answer = at_bench.get(current_procedure().get_absolute_url())
    page = words(answer)
    assert "Build the shaft 7. Stack in the recorded order" in page
    assert (
        "8. Tighten the shaft nut Critical: a second person checks it Too little lets the nut go in the field, too "
        "much breaks the shaft. Never under charge." in page
    )
    assert "Tools: soft jaws, torque wrench in calibration Records: Shaft nut torque, read against the spec" in page
    assert "Only for: monotube with reservoir and IFP or monotube with IFP in the body." in page
    assert "Stored gas: zero pressure is proven here" in page
    assert "For any figure or step shown here the maker's current service manual for the exact unit prevails" in page
    assert form(answer) == {}, "a technician changes nothing here"
    assert "Draft the next version" not in page


def test_two_versions_are_compared_step_by_step(at_bench, manager, draft):
    step = draft.steps.get(number=8)
    services.change_step(step=step, edition=step.edition, tool="soft jaws of copper", by=manager, at=NOON)
    services.remove_step(step=draft.steps.get(number=15), by=manager, at=NOON)
    page = words(at_bench.get(at("compare", draft), {"with": current_procedure().pk}))
    assert "From Rebuild version 2 (current) to Rebuild version 3 (draft)." in page
    assert "Tighten the shaft nut step 8, changed Tools before soft jaws now soft jaws of copper" in page
    assert "Compare, bag, lay ready taken out, was step 15" in page
    assert "Fill " not in page
    assert "Nothing. Both say the same." in words(at_bench.get(at("compare", draft), {"with": draft.pk}))
    for nonsense in ("", "x", "0", "9" * 30):
        assert at_bench.get(at("compare", draft), {"with": nonsense}).status_code == 404


def test_the_catalogue_leads_to_the_current_procedure_and_tells_of_a_draft(at_desk, draft):
    page = words(at_desk.get(reverse("manage:catalogue")))
    assert "Jobs that are checked in follow Rebuild version 2." in page
    assert "followed by nobody yet: Rebuild version 3." in page
    Procedure.objects.update(current=False)
    assert "no job can be checked in" in words(at_desk.get(reverse("manage:catalogue")))


# --- drafting


def test_a_change_is_drafted_from_the_page_of_a_version(as_manager, manager):
    current = current_procedure()
    answer = send(as_manager, current.get_absolute_url(), "change/", to=at("change", current))
    draft = Procedure.objects.get(version=3)
    assert answer.url == at("edit", draft)
    assert (draft.drafted_by, titles(draft)) == (manager, titles(current))
    page = words(as_manager.get(current.get_absolute_url()))
    assert "Open the draft, version 3" in page
    refused = as_manager.post(at("change", current), {"request_key": "another"})
    assert refused.status_code == 409
    assert "There is a draft already: Rebuild version 3." in words(refused)


def test_a_procedure_of_another_name_is_begun(as_manager):
    assert form(as_manager.get(NEW))["copy_of"] == str(current_procedure().pk)
    answer = send(as_manager, NEW, name="Rebuild")
    assert answer.status_code == 422
    assert "There is a procedure Rebuild already. Draft its next version instead." in words(answer)
    assert form(answer)["name"] == "Rebuild"
    answer = send(as_manager, NEW, name="Seal service", copy_of="")
    made = Procedure.objects.get(name="Seal service")
    assert answer.url == at("edit", made)
    assert "There is no step yet. Add the first one." in words(as_manager.get(answer.url))


def test_a_step_is_added_at_its_place_and_the_page_goes_on_from_there(as_manager, draft):
    answer = send(
        as_manager, at("step_new", draft), number="5", stage="Strip", title="Turn the cap out", tool="pin tool",
        cap_styles=["threaded"], text="Pins square in their holes.",
    )  # fmt: skip
    step = draft.steps.get(number=5)
    assert answer.url == f"{at('edit', draft)}#step-{step.pk}"
    assert (step.title, step.cap_styles, step.reading, step.as_left) == ("Turn the cap out", ["threaded"], "", False)
    page = words(as_manager.get(answer.url))
    assert "Step 5. Turn the cap out is added." in page
    assert "5. Turn the cap out only for a threaded cap" in page
    assert draft.steps.count() == 16


def test_a_step_begins_with_what_it_says_and_is_changed(as_manager, draft):
    step = draft.steps.get(number=11)
    filled = form(as_manager.get(at("step", draft, step)))
    assert filled["records"] == "ifp_depth"
    assert filled["constructions"] == ["reservoir", "internal"]
    send(
        as_manager, at("step", draft, step), title="Set the depth of the IFP", caution="Too shallow: it meets the cap."
    )
    step.refresh_from_db()
    assert (step.title, step.reading) == ("Set the depth of the IFP", "ifp_depth")
    left = draft.steps.get(number=14)
    assert form(as_manager.get(at("step", draft, left)))["records"] == "as_left"
    send(as_manager, at("step", draft, left), records="", critical="on", caution="Stored spring energy.")
    left.refresh_from_db()
    assert (left.as_left, left.reading, left.critical) == (False, "", True)


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"title": ""}, "Nothing is typed here. Fill it in."),
        ({"stage": "x" * 41}, "the book takes at most 40 characters"),
        ({"text": "x" * 1001}, "the book takes at most 1000 characters"),
        ({"records": "smell"}, "This is none of the choices"),
        ({"pressure": "proven"}, "A step that proves zero pressure is critical and records nothing"),
        ({"cap_styles": ["ring"], "critical": "on"}, "A step for some caps only records nothing"),
        ({"cap_styles": ["bayonet"]}, "This is none of the choices"),
    ],
)  # fmt: skip
def test_a_step_that_cannot_be_is_refused_and_what_was_typed_stays(as_manager, draft, typed, told):
    step = draft.steps.get(number=10)
    answer = send(as_manager, at("step", draft, step), tool="a new tool", **typed)
    assert answer.status_code == 422
    assert told in words(answer)
    assert form(answer)["tool"] == "a new tool"
    step.refresh_from_db()
    assert step.tool == "soft jaws, plastic hammer"


def test_who_is_second_at_a_step_sees_what_the_first_wrote(as_manager, draft):
    step = draft.steps.get(number=8)
    url = at("step", draft, step)
    mine = form(as_manager.get(url)) | {"tool": "vice with soft jaws"}
    send(as_manager, url, caution="Never under charge. Two people.", tool="copper jaws")
    answer = as_manager.post(url, mine)
    assert answer.status_code == 409
    page = words(answer)
    assert "Somebody else has changed step 8. Tighten the shaft nut meanwhile." in page
    assert "The book says now" in page
    assert "copper jaws" in page
    assert form(answer)["tool"] == "vice with soft jaws"
    assert as_manager.post(url, form(answer)).status_code == 302
    step.refresh_from_db()
    assert step.tool == "vice with soft jaws"


def test_a_step_is_moved_up_and_down_by_buttons(as_manager, draft):
    first, second = draft.steps.filter(number__lte=2)
    page = as_manager.get(at("edit", draft)).content.decode()
    assert f'name="number" value="1">Up<span class="visually-hidden">: {second}</span>' in page
    assert f'Up<span class="visually-hidden">: {first}</span>' not in page
    answer = as_manager.post(at("step_move", draft, second), {"number": "1"})
    assert answer.url == f"{at('edit', draft)}#step-{second.pk}"
    assert titles(draft)[:2] == [second.title, first.title]
    as_manager.post(at("step_move", draft, second), {"number": "1"})  # pressed twice
    assert titles(draft)[:2] == [second.title, first.title]
    for nonsense in ("0", "16", "", "x"):
        answer = as_manager.post(at("step_move", draft, second), {"number": nonsense})
        assert answer.status_code == 422, nonsense
        assert titles(draft)[:2] == [second.title, first.title]


def test_a_step_is_taken_out_after_a_question(as_manager, draft):
    step = draft.steps.get(number=15)
    url = at("step_remove", draft, step)
    asked = as_manager.post(url)
    assert "Take step 15. Compare, bag, lay ready out?" in words(asked)
    assert draft.steps.count() == 15
    assert as_manager.post(url, form(asked)).url == at("edit", draft)
    assert draft.steps.count() == 14
    assert as_manager.post(url, form(asked)).url == at("edit", draft)  # pressed twice
    assert "That step was out already." in words(as_manager.get(at("edit", draft)))


def test_a_draft_is_thrown_away_after_a_question(as_manager, draft):
    asked = as_manager.post(at("discard", draft))
    assert "Throw the draft Rebuild version 3 away?" in words(asked)
    assert as_manager.post(at("discard", draft), form(asked)).url == LIST
    assert not Procedure.objects.filter(pk=draft.pk).exists()
    assert as_manager.post(at("discard", draft), form(asked)).status_code == 404


def test_what_is_or_was_current_has_no_page_to_change_it(as_manager):
    for kept in Procedure.objects.all():
        step = kept.steps.first()
        assert as_manager.get(at("edit", kept)).url == kept.get_absolute_url()
        for url in (at("step", kept, step), at("step_new", kept)):
            assert as_manager.get(url).url == kept.get_absolute_url()
        assert as_manager.post(at("step_move", kept, step), {"number": "2"}).url == kept.get_absolute_url()
        assert as_manager.post(at("step_remove", kept, step), {"sure": "yes"}).url == kept.get_absolute_url()
        assert "is or was current, so it stays as it is" in words(as_manager.get(kept.get_absolute_url()))
        answer = as_manager.post(at("discard", kept), {"sure": "yes"})
        assert answer.status_code == 409
        assert "is or was current, so it stays as it is" in words(answer)


def test_what_was_typed_stays_when_the_draft_is_made_current_or_the_step_taken_out_meanwhile(
    as_manager, manager, draft
):
    step, gone = draft.steps.get(number=1), draft.steps.get(number=15)
    typed = {one: form(as_manager.get(at("step", draft, one))) | {"tool": "my own words"} for one in (step, gone)}
    new = form(as_manager.get(at("step_new", draft))) | {"stage": "Close", "title": "Sweep the bench"}
    services.remove_step(step=gone, by=manager, at=NOON)
    answer = as_manager.post(at("step", draft, gone), typed[gone])
    assert answer.status_code == 409
    assert "This step has been taken out meanwhile." in words(answer)
    assert form(answer)["tool"] == "my own words"
    make.put_in_force(Procedure.objects.get(pk=draft.pk), manager)
    for url, mine, name in [(at("step", draft, step), typed[step], "tool"), (at("step_new", draft), new, "title")]:
        answer = as_manager.post(url, mine | {"number": "3"})
        assert answer.status_code == 409
        assert "is or was current, so it stays as it is" in words(answer)
        assert form(answer)[name] == mine[name]
    assert as_manager.get(at("step", draft, gone)).status_code == 404


# --- making current


def test_a_draft_is_read_and_made_current_with_a_reason(as_manager, manager, draft):
    page = as_manager.get(draft.get_absolute_url())
    answer = as_manager.post(at("make_current", draft), form(page, "make-current"))
    assert answer.status_code == 422
    assert "Read every step first, then tick this." in words(answer)
    answer = send(
        as_manager, draft.get_absolute_url(), "make-current", to=at("make_current", draft), why="winter", read="on"
    )
    assert answer.url == draft.get_absolute_url()
    assert current_procedure() == draft
    page = words(as_manager.get(answer.url))
    assert "Rebuild version 3 is current: jobs follow it from the next check-in on." in page
    assert "Made current by Mika Sorensdal, 25 November 2026, 12:00: winter" in page
    assert "made current instead of Rebuild version 2: Rebuild version 3: winter" in page


def test_a_draft_that_does_not_hold_together_says_why_and_offers_no_button(as_manager, draft):
    as_manager.post(at("step_move", draft, draft.steps.get(number=4)), {"number": "2"})
    for url in (draft.get_absolute_url(), at("edit", draft)):
        page = words(as_manager.get(url))
        assert "Step 2 (“Open, drain, lay out”) comes before zero pressure is proven in step 4." in page
        assert "Make Rebuild version 3 current" not in page
    sent = {"why": "x", "read": "on", "edition": Procedure.objects.get(pk=draft.pk).edition,
            "instead_of": current_procedure().pk}  # fmt: skip
    answer = as_manager.post(at("make_current", draft), sent)
    assert answer.status_code == 422
    assert "comes before zero pressure is proven" in words(answer)
    assert current_procedure() != draft


def test_a_draft_that_was_changed_since_it_was_read_has_to_be_read_again(as_manager, manager, draft):
    url, to = draft.get_absolute_url(), at("make_current", draft)
    mine = form(as_manager.get(url), "make-current") | {"why": "winter", "read": "on"}
    services.remove_step(step=draft.steps.get(number=15), by=manager, at=NOON)
    answer = as_manager.post(to, mine)
    assert answer.status_code == 409
    assert "Rebuild version 3 was changed meanwhile. Read it again, then decide." in words(answer)
    again = form(answer, "make-current")
    assert again["why"] == "winter"
    assert "read" not in again
    assert as_manager.post(to, again | {"read": "on"}).url == url
    assert current_procedure() == draft


def test_a_former_version_is_made_current_again(as_manager):
    first = Procedure.objects.get(version=1)
    answer = send(
        as_manager, first.get_absolute_url(), "make-current", to=at("make_current", first), why="as before", read="on"
    )
    assert answer.status_code == 302
    assert current_procedure() == first
