import pytest
from tests.documents.orders import *
from shop.documents import services
from shop.workorders.services import close_job, close_order
pytestmark=pytest.mark.django_db
def test_look(technician, second, manager):
    o=make_checked_in(year=2015, corners=CORNERS[2:], complaint="leaks at the shaft, bottoms out")
    tools=make_tools()
    a,b=o.jobs.all()
    rebuild(a,tools,technician,second)
    r=a.readings.get(measure="shaft_nut_torque",moment="set")
    record_reading(job=a,measure="shaft_nut_torque",moment="set",entered=parse("22.4","torque","lbf·ft"),tool=tools["shaft_nut_torque"],corrects=r,why="read from the wrong side of the scale",by=second,at=NOON)
    s=[x.step for x in job_steps(a) if x.step.reading=="shaft_nut_torque"][0]
    second_check(job=a,step=s,by=technician,at=NOON)
    close_job(job=a,by=technician,at=NOON)
    finish_step(job=b,step=job_steps(b)[0].step,by=technician,at=NOON)
    close_job(job=b,by=manager,at=NOON,override_reason="Bore scored: customer takes it home as it is, opened and drained.")
    open("/tmp/card.pdf","wb").write(services.job_card(order=o,at=NOON).pdf)
    close_order(order=o,used=[],by=technician,at=NOON)
    open("/tmp/rec.pdf","wb").write(services.service_record(order=o).pdf)
    open("/tmp/pick.pdf","wb").write(services.pick_list_paper(order=o,at=NOON).pdf)
    open("/tmp/tags.pdf","wb").write(services.bag_tags(order=o).pdf)
