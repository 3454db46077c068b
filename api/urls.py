from django.urls import include, path, re_path

from api import auth, customers, dampers, document, jobs, parts, pick_lists, readings, specs, vehicles, workorders
from api.endpoint import Unknown

v1 = [
    path("token/", auth.TokenNew.as_view(), name="token"),
    path("token/give-back/", auth.TokenGiveBack.as_view(), name="token_give_back"),
    path("customers/", customers.CustomerList.as_view(), name="customers"),
    path("customers/<int:pk>/", customers.CustomerDetail.as_view(), name="customer"),
    path("customers/<int:pk>/consent/", customers.CustomerConsent.as_view(), name="consent"),
    path("vehicle-models/", vehicles.VehicleModelList.as_view(), name="vehicle_models"),
    path("vehicles/", vehicles.VehicleList.as_view(), name="vehicles"),
    path("vehicles/<int:pk>/", vehicles.VehicleDetail.as_view(), name="vehicle"),
    path("vehicles/<int:pk>/sold/", vehicles.VehicleSold.as_view(), name="sold"),
    path("vehicles/<int:pk>/meter-readings/", vehicles.MeterReadingList.as_view(), name="meter_readings"),
    path("vehicles/<int:pk>/fit-dampers/", dampers.FitDampers.as_view(), name="fit_dampers"),
    path("damper-models/", dampers.DamperModelList.as_view(), name="damper_models"),
    path("dampers/", dampers.DamperList.as_view(), name="dampers"),
    path("dampers/<int:pk>/", dampers.DamperDetail.as_view(), name="damper"),
    path("dampers/<int:pk>/take-off/", dampers.DamperTakeOff.as_view(), name="damper_take_off"),
    path("spec/", specs.Spec.as_view(), name="spec"),
    path("work-orders/", workorders.OrderList.as_view(), name="orders"),
    path("work-orders/<int:pk>/", workorders.OrderDetail.as_view(), name="order"),
    path("work-orders/<int:pk>/check-in/", workorders.CheckIn.as_view(), name="check_in"),
    path("work-orders/<int:pk>/call-off/", workorders.CallOff.as_view(), name="call_off"),
    path("work-orders/<int:pk>/close/", workorders.CloseOrder.as_view(), name="close_order"),
    path("work-orders/<int:pk>/hand-back/", workorders.HandBack.as_view(), name="hand_back"),
    path("work-orders/<int:pk>/pick-list/", pick_lists.PickListDetail.as_view(), name="pick_list"),
    path("work-orders/<int:pk>/job-card/", workorders.JobCard.as_view(), name="job_card"),
    path("work-orders/<int:pk>/pick-list/hold/", pick_lists.PickListHold.as_view(), name="pick_list_hold"),
    path("pick-lines/<int:pk>/pick/", pick_lists.Pick.as_view(), name="pick"),
    path("pick-lines/<int:pk>/unpick/", pick_lists.Unpick.as_view(), name="unpick"),
    path("jobs/", jobs.BenchList.as_view(), name="jobs"),
    path("jobs/<int:pk>/", jobs.JobDetail.as_view(), name="job"),
    path("jobs/<int:pk>/steps/<int:number>/done/", jobs.StepDone.as_view(), name="step_done"),
    path("jobs/<int:pk>/steps/<int:number>/second-check/", jobs.StepCheck.as_view(), name="second_check"),
    path("jobs/<int:pk>/readings/", readings.ReadingList.as_view(), name="readings"),
    path("jobs/<int:pk>/reopen/", jobs.JobReopen.as_view(), name="job_reopen"),
    path("jobs/<int:pk>/close/", jobs.JobClose.as_view(), name="close_job"),
    path("parts/", parts.PartList.as_view(), name="parts"),
    path("parts/<int:pk>/", parts.PartDetail.as_view(), name="part"),
    path("parts/<int:pk>/receive/", parts.PartReceive.as_view(), name="receive"),
    path("parts/<int:pk>/count/", parts.PartCount.as_view(), name="count"),
]

app_name = "api"
urlpatterns = [
    path("v1/", include(v1)),
    path("schema/", document.Document.as_view(), name="schema"),
    path("docs/", document.page, name="docs"),
    re_path(r"", Unknown.as_view(), name="unknown"),
]
