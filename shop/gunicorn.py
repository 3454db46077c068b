"""How gunicorn runs the site: python -m gunicorn --config python:shop.gunicorn shop.wsgi:application"""

import os

from django.conf import settings

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")

worker_class = "gthread"
workers = 2
threads = 8
timeout = 60
control_socket_disable = True
# Its own lines look like those of the site. Requests are logged by the site.
its_own = {name: {"propagate": True} for name in ("gunicorn.error", "gunicorn.access")}
logconfig_dict = settings.LOGGING | {"loggers": settings.LOGGING["loggers"] | its_own}
