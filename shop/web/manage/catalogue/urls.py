from django.urls import path

from shop.web.manage.catalogue import damper_models, intervals, overview, parts, parts_list, tools, vehicle_models

urlpatterns = [
    path("", overview.catalogue, name="catalogue"),
    path("vehicle-models/", vehicle_models.vehicle_models, name="vehicle_models"),
    path("vehicle-models/new/", vehicle_models.vehicle_model_new, name="vehicle_model_new"),
    path("vehicle-models/<int:pk>/", vehicle_models.vehicle_model, name="vehicle_model"),
    path("vehicle-models/<int:pk>/change/", vehicle_models.vehicle_model_change, name="vehicle_model_change"),
    path("vehicle-models/<int:pk>/remove/", vehicle_models.vehicle_model_remove, name="vehicle_model_remove"),
    path(
        "vehicle-models/<int:pk>/corners/<int:fitment_pk>/change/", vehicle_models.fitment_change, name="fitment_change"
    ),
    path("vehicle-models/<int:pk>/corners/<int:fitment_pk>/copy/", vehicle_models.fitment_copy, name="fitment_copy"),
    path("vehicle-models/<int:pk>/corners/", vehicle_models.fitment_add, name="fitment_add"),
    path("vehicle-models/<int:pk>/corners/remove/", vehicle_models.fitment_remove, name="fitment_remove"),
    path("damper-models/", damper_models.damper_models, name="damper_models"),
    path("damper-models/new/", damper_models.damper_model_new, name="damper_model_new"),
    path("damper-models/<int:pk>/", damper_models.damper_model, name="damper_model"),
    path("damper-models/<int:pk>/parts-list/", parts_list.parts_list, name="parts_list"),
    path("damper-models/<int:pk>/parts-list/copy/", parts_list.parts_list_copy, name="parts_list_copy"),
    path("damper-models/<int:pk>/change/", damper_models.damper_model_change, name="damper_model_change"),
    path("damper-models/<int:pk>/adjusters/", damper_models.adjusters, name="adjusters"),
    path("damper-models/<int:pk>/sizes/", damper_models.sizes, name="sizes"),
    path("damper-models/<int:pk>/interval/", intervals.of_damper_model, name="damper_interval"),
    path(
        "damper-models/<int:pk>/interval/remove/",
        intervals.remove_of_damper_model,
        name="damper_interval_remove",
    ),
    path("vehicle-models/<int:pk>/interval/", intervals.of_vehicle_model, name="vehicle_interval"),
    path(
        "vehicle-models/<int:pk>/interval/remove/",
        intervals.remove_of_vehicle_model,
        name="vehicle_interval_remove",
    ),
    path("interval/", intervals.by_default, name="shop_interval"),
    path("interval/remove/", intervals.remove_by_default, name="shop_interval_remove"),
    path("parts/", parts.parts, name="parts"),
    path("parts/new/", parts.part_new, name="part_new"),
    path("parts/<int:pk>/", parts.part, name="part"),
    path("parts/<int:pk>/containers/", parts.container_add, name="container_add"),
    path("tools/", tools.tools, name="tools"),
    path("tools/new/<slug:kind>/", tools.tool_new, name="tool_new"),
    path("tools/<int:pk>/", tools.tool, name="tool"),
    path("tools/<int:pk>/calibration/", tools.calibration, name="calibration"),
    path("tools/<int:pk>/out-of-use/", tools.out_of_use, name="out_of_use"),
]
