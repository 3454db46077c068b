from django.urls import path

from shop.web.manage.catalogue import damper_models, overview, parts, tools, vehicle_models

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
    path("damper-models/<int:pk>/parts-list/", damper_models.kit_line_add, name="kit_line_add"),
    path("damper-models/<int:pk>/parts-list/remove/", damper_models.kit_line_remove, name="kit_line_remove"),
    path("damper-models/<int:pk>/change/", damper_models.damper_model_change, name="damper_model_change"),
    path("damper-models/<int:pk>/adjusters/", damper_models.adjusters, name="adjusters"),
    path("damper-models/<int:pk>/sizes/", damper_models.sizes, name="sizes"),
    path("damper-models/<int:pk>/interval/", damper_models.interval, name="interval"),
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
