"""Pages and feeds are compressed; what that could give away is not (see handbook/security.md)."""

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware

COMPRESSED = ("text/html", "application/json", "text/csv", "text/plain")


class Compress(GZipMiddleware):
    """What is read with GET, in words: not files that are compressed already, nor an answer that has an ETag.

    Compressed, an ETag would have to be weak, and If-Match takes only strong ones. What is told once, such as a token,
    is told in answers to POST.
    """

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        kind = response.headers.get("Content-Type", "").partition(";")[0]
        if request.method != "GET" or kind not in COMPRESSED or "ETag" in response.headers:
            return response
        return super().process_response(request, response)
