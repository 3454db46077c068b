from rest_framework.pagination import PageNumberPagination


class Pages(PageNumberPagination):
    """Fifty rows a page; a caller may ask for up to 200."""

    page_size_query_param = "page_size"
    max_page_size = 200
