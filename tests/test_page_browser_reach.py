"""Everybody can use every page: axe-core against WCAG 2.2 AA, phone, zoom, dark, print."""

import re

import pytest
from playwright.sync_api import Browser, Page

from counter_browser import violations
from page_client import address_of, hill_patrol

pytest_plugins = ["counter_browser"]

ANSWER = address_of(hill_patrol())
PAGES = {
    "pick": "/",
    "received": "/?vehicle=orchard-runabout",
    "answer": ANSWER + "&line=front/left/outer-shaft",
    "found": "/?vehicle=hill-patrol&q=33+teeth",
    "contradiction": ANSWER + "&fit=front/*/hub:sh-138-8x1651-48",
    "not understood": "/?vehicle=hill-patrol&fit=front/carier:al-895-33",
    "order sheet": address_of(hill_patrol(), "/sheets/order"),
    "work sheet": address_of(hill_patrol(), "/sheets/work"),
    "part": "/v1/parts/al-895-33",
    "kit": "/v1/kits/brake-345-4x44",
    "vehicle": "/v1/vehicles/hill-patrol",
    "vehicles": "/v1/vehicles",
    "kind": "/v1/kinds/RingAndPinionSet",
    "kinds": "/v1/kinds",
    "rule": "/v1/rules/innerShaftInSideGear",
    "rules": "/v1/rules",
    "not on record": "/v1/parts/nothing",
}
NAMED = pytest.mark.parametrize("path", list(PAGES.values()), ids=list(PAGES))


@NAMED
def test_axe_finds_nothing_in_light_nor_in_dark(page: Page, path: str) -> None:
    page.emulate_media(color_scheme="light")
    page.goto(path)
    assert violations(page) == []
    page.emulate_media(color_scheme="dark")
    assert violations(page, only_colours=True) == []


def test_axe_finds_nothing_with_everything_open(page: Page) -> None:
    page.goto(ANSWER)
    for closed in page.locator("details:not([open]) > summary").all()[:40]:
        closed.click()
    assert violations(page) == []


@NAMED
def test_nothing_is_cut_off_on_a_phone_or_at_200_percent(page: Page, path: str) -> None:
    # WCAG 2.2, 1.4.10 reflow: no scrolling sideways at 320 CSS pixels; 640 is a screen of 1280 at 200 %
    page.goto(path)
    for width, height in ((390, 844), (320, 640), (640, 450)):
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_what_can_be_touched_is_large_enough_on_a_phone(browser: Browser, base_url: str) -> None:
    # WCAG 2.2, 2.5.8 target size: 24 by 24 CSS pixels
    context = browser.new_context(base_url=base_url, viewport={"width": 390, "height": 844}, has_touch=True)
    page = context.new_page()
    page.goto(ANSWER)
    for target in page.locator("button, a.button, .wish .x").all()[:80]:
        box = target.bounding_box()
        if box is not None and box["width"]:
            assert min(box["width"], box["height"]) >= 24, target.inner_text()
    context.close()


def test_dark_is_dark(page: Page) -> None:
    page.emulate_media(color_scheme="dark")
    page.goto("/")
    colour = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert max(map(int, re.findall(r"\d+", colour)[:3])) < 64


@pytest.mark.parametrize("sheet", ["/sheets/order", "/sheets/work"])
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_a_sheet_prints(page: Page, sheet: str, size: str) -> None:
    page.goto(address_of(hill_patrol(), sheet))
    printed = page.pdf(format=size)
    # ISO 32000-1: a PDF file begins so; the page boxes are those of ISO 216 A4 (595 x 842 points) and of letter paper
    assert printed.startswith(b"%PDF-")
    boxes = {
        (round(float(w)), round(float(h))) for w, h in re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", printed)
    }
    (width, height) = (595, 842) if size == "A4" else (612, 792)
    assert boxes
    assert all(abs(w - width) <= 1 and abs(h - height) <= 1 for w, h in boxes)
    page.emulate_media(media="print")
    assert page.locator("header.top").is_hidden()
    assert page.locator("footer").is_hidden()
    assert page.locator("h1").is_visible()


def test_the_answer_prints_without_what_can_only_be_clicked(page: Page) -> None:
    page.goto(ANSWER)
    page.emulate_media(media="print")
    for hidden in (".search", ".jump", ".sheets", ".line .more"):
        assert page.locator(hidden).first.is_hidden()
    assert page.locator("#order").is_visible()
