from rest_framework.exceptions import NotFound
from rest_framework.pagination import PageNumberPagination


class Pages(PageNumberPagination):
    """Fifty rows a page; a caller may ask for up to 200."""

    page_size_query_param = "page_size"
    max_page_size = 200

    def paginate_queryset(self, queryset, request, view=None):
        try:
            return super().paginate_queryset(queryset, request, view)
        except NotFound:
            asked = request.query_params.get(self.page_query_param, "")[:20]
            last = self.django_paginator_class(queryset, self.get_page_size(request)).num_pages
            raise NotFound(f"There is no page “{asked}”: pages run from 1 to {last}.") from None
