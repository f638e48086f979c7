"""How pages are sent: by the same addresses as the data, in the lengths that the visitor reads in."""

import gzip

from fastapi import Request, Response

from crosspin.api.accept import HTML
from crosspin.page.records import RecordPages
from crosspin.page.render import CONTENT_SECURITY_POLICY, LENGTHS, Pages, Visit

COOKIE = "lengths"
PAGE_HEADERS = {"Content-Security-Policy": CONTENT_SECURITY_POLICY, "Vary": "Accept, Accept-Encoding, Cookie"}


def visit_of(request: Request) -> Visit:
    """Who looks: where they are, and the lengths that they asked to read in."""
    lengths = request.cookies.get(COOKIE, "")
    query = request.url.query
    here = request.url.path + (f"?{query}" if query else "")
    return Visit(here, lengths if lengths in LENGTHS else next(iter(LENGTHS)))


def page_tag(request: Request) -> tuple[str, ...]:
    """What a page depends on beside its address and the data."""
    pages: Pages = request.app.state.pages
    return visit_of(request).lengths, pages.digest, str(_takes_gzip(request))


def record_pages(request: Request) -> RecordPages:
    """The pages about records, for this visitor."""
    return RecordPages(request.app.state.pages, request.state.desk.holdings, visit_of(request))


def html_reply(request: Request, text: str, status: int = 200) -> Response:
    """A page as it is sent: compressed where the caller takes that, under the policy that pages have."""
    body = text.encode()
    headers = dict(PAGE_HEADERS)
    if _takes_gzip(request):
        body = gzip.compress(body, 6, mtime=0)
        headers["Content-Encoding"] = "gzip"
    return Response(body, status, headers, f"{HTML}; charset=utf-8")


def _takes_gzip(request: Request) -> bool:
    return "gzip" in request.headers.get("accept-encoding", "")
