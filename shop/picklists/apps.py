from django.apps import AppConfig


class PicklistsConfig(AppConfig):
    name = "shop.picklists"
