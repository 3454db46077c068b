from django.apps import AppConfig


class CoreConfig(AppConfig):
    name = "shop.core"

    def ready(self):
        # Tasks register on the shop's own Celery app: it has to exist before the first task module is read.
        from django_structlog.signals import bind_extra_request_metadata

        from shop import celery  # noqa: F401
        from shop.core.addresses import note_address

        bind_extra_request_metadata.connect(note_address)
