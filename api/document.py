"""The OpenAPI document, and a page that people read it on."""

from django.contrib.auth.decorators import login_required
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

from api.permissions import Allows


class Document(SpectacularAPIView):
    """OpenAPI 3 as YAML, or as JSON with ?format=json."""

    permission_classes = [Allows("look")]


class Page(SpectacularSwaggerSplitView):
    """Our own frame around it, because the one that comes along has a style element, which the page's CSP refuses."""

    url_name = "api:schema"
    template_name = "api/docs.html"
    permission_classes = [Allows("look")]


page = login_required(Page.as_view())  # a person without a session is led to the log-in page
