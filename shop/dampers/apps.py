from django.apps import AppConfig


class DampersConfig(AppConfig):
    name = "shop.dampers"
