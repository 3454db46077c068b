from django.apps import AppConfig


class CoreConfig(AppConfig):
    name = "shop.core"

    def ready(self):
        # Tasks register on the shop's own Celery app: it has to exist before the first task module is read.
        from shop import celery  # noqa: F401
