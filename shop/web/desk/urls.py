from django.urls import path

from shop.web.desk.views import booking, customers, day, papers, parts

app_name = "desk"
urlpatterns = [
    path("", day.day, name="day"),
    path("find/", day.search, name="search"),
    path("orders/", day.orders, name="orders"),
    path("orders/book/", booking.book, name="book"),
    path("orders/<int:pk>/", day.order, name="order"),
    path("orders/<int:pk>/check-in/", booking.check_in, name="check_in"),
    path("orders/<int:pk>/pick-list/", parts.pick_list, name="pick_list"),
    path("orders/<int:pk>/pick-list/row/", parts.pick_row, name="pick_row"),
    path("orders/<int:pk>/pick-list/swap/", parts.pick_swap, name="pick_swap"),
    path("orders/<int:pk>/pick-list/take-up/", parts.take_up, name="take_up"),
    path("orders/<int:pk>/pick-list/take-back/", parts.take_back, name="take_back"),
    path("orders/<int:pk>/pick-list/hold/", parts.pick_hold, name="pick_hold"),
    path("orders/<int:pk>/hand-back/", booking.hand_back, name="hand_back"),
    path("orders/<int:pk>/call-off/", booking.call_off, name="call_off"),
    path("orders/<int:pk>/job-card.pdf", papers.job_card, name="job_card"),
    path("orders/<int:pk>/pick-list.pdf", papers.pick_list_pdf, name="pick_list_pdf"),
    path("orders/<int:pk>/bag-tags.pdf", papers.bag_tags, name="bag_tags"),
    path("orders/<int:pk>/service-record.pdf", papers.service_record, name="service_record"),
    path("c/<int:pk>/<int:revision>/<slug:digest>", papers.card_check, name="card_check"),
    path("customers/", customers.customers, name="customers"),
    path("customers/new/", customers.customer_new, name="customer_new"),
    path("customers/<int:pk>/", customers.customer, name="customer"),
    path("customers/<int:pk>/change/", customers.customer_change, name="customer_change"),
    path("customers/<int:pk>/consent/", customers.customer_consent, name="customer_consent"),
    path("customers/<int:customer_pk>/vehicles/new/", customers.vehicle_new, name="vehicle_new"),
    path("vehicles/<int:pk>/", customers.vehicle, name="vehicle"),
    path("vehicles/<int:pk>/change/", customers.vehicle_change, name="vehicle_change"),
    path("vehicles/<int:pk>/meter/", customers.meter, name="meter"),
    path("vehicles/<int:pk>/sold/", customers.vehicle_sold, name="vehicle_sold"),
    path("dampers/new/", customers.damper_new, name="damper_new"),
    path("dampers/<int:pk>/change/", customers.damper_change, name="damper_change"),
    path("dampers/<int:pk>/take-off/", customers.damper_take_off, name="damper_take_off"),
]
