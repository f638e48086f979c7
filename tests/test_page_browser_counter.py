"""The counter in a real browser: a whole ask by keyboard only, swaps, contradictions, with scripts and without."""

import re
from collections.abc import Iterator
from urllib.parse import parse_qsl, urlsplit

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from page_client import address_of, hill_patrol

pytest_plugins = ["counter_browser"]

ANSWER = address_of(hill_patrol())
GASKET = "#line-front-cover-gasket"


@pytest.fixture
def plain(browser: Browser, base_url: str) -> Iterator[Page]:
    """A page in a browser without JavaScript."""
    context = browser.new_context(base_url=base_url, java_script_enabled=False)
    yield context.new_page()
    context.close()


def asked(page: Page) -> list[tuple[str, str]]:
    """The ask in the address of the page."""
    return [pair for pair in parse_qsl(urlsplit(page.url).query) if pair[0] not in ("q", "line")]


def find(page: Page, words: str, offer: str, where: str) -> None:
    """By keys: go to the search box, type, go down to the offer, take the place; the search box has the focus again."""
    if not page.locator("#q").evaluate("box => box === document.activeElement"):
        page.keyboard.press("/")
    expect(page.locator("#q")).to_be_focused()
    page.keyboard.type(words, delay=5)
    link = page.get_by_role("link", name=re.compile(f"fit {re.escape(offer)} at {where}$"))
    expect(link).to_be_visible()
    before = page.url
    for _ in range(60):
        page.keyboard.press("ArrowDown")
        if link.evaluate("element => element === document.activeElement"):
            break
    expect(link).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_function("before => location.href !== before", arg=before)
    expect(page.locator("#busy")).to_be_empty()
    expect(page.locator("#q")).to_be_focused()


def test_the_whole_rescue_ask_by_keyboard_only(page: Page, complaints: list[str]) -> None:
    page.goto("/")
    page.keyboard.type("hill")
    expect(page.locator("#vehicle-list li:visible")).to_have_count(1)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("hill patrol truck")

    find(
        page,
        "fh-895-hp-1600-b",
        "Bare steering housing 8.95 in, high pinion left, 1600 mm, brackets on (fh-895-hp-1600-b)",
        "front housing",
    )
    expect(page.get_by_role("heading", name="Also needed")).to_be_visible()
    find(page, "py-895-121-370", "Pinion yoke 31-tooth, joint 1.21 x 3.7 in (py-895-121-370)", "front pinion yoke")
    find(
        page,
        "knuckle 162 mm 0.722",
        "Knuckle, 162 mm joints, 0.722 in steering arm (kn-162-722)",
        "front knuckle, both sides",
    )
    find(page, "air locker 33", "Air locker 8.95 in, 33-tooth, class low or high (al-895-33)", "front carrier")
    find(
        page,
        "front brake kit 345",
        "Front brake kit, rotors 345 mm, fixed calipers with four pistons of 44 mm (brake-345-4x44)",
        "everything at the front",
    )
    for place in (
        "rear housing",
        "rear gear set",
        "rear carrier",
        "rear left axle shaft",
        "rear right axle shaft",
        "transfer case",
        "master cylinder",
    ):
        page.locator(".received summary").focus()
        if page.locator(".received details[open]").count() == 0:
            page.keyboard.press("Enter")
        keep = page.get_by_role("link", name=f"Keep the {place}", exact=True)
        keep.focus()
        page.keyboard.press("Enter")
        expect(page.locator(".wish", has_text="Keep").filter(has_text=place)).to_be_visible()
    expect(page.locator("#busy")).to_be_empty()

    # it is the rescue wagon's ask, with the two axle shafts kept one by one
    wanted = [pair for pair in parse_qsl(urlsplit(ANSWER).query) if pair[1] != "rear/*/axle-shaft"]
    wanted += [("keep", "rear/left/axle-shaft"), ("keep", "rear/right/axle-shaft")]
    assert sorted(asked(page)) == sorted(wanted)
    line = page.locator(".line", has_text="Front gear set").or_(page.locator("#line-front-gear-set")).first
    expect(line).to_contain_text("41/11, reverse cut")
    assert complaints == []


def test_an_alternative_is_swapped_in_by_one_key_and_back_again(page: Page, complaints: list[str]) -> None:
    page.goto(ANSWER)
    before = page.locator(".total b").inner_text()
    page.locator(GASKET).focus()
    page.keyboard.press("1")
    expect(page.locator(GASKET)).to_contain_text("Steel-core cover gasket")
    expect(page.locator(GASKET)).to_contain_text("swapped in")
    expect(page.locator(GASKET)).to_be_focused()
    assert ("swap", "front/cover-gasket:cg-895-steel") in asked(page)
    assert page.locator(".total b").inner_text() != before
    page.go_back()
    expect(page.locator(GASKET)).not_to_contain_text("Steel-core cover gasket", use_inner_text=True)
    expect(page.locator(".total b")).to_have_text(before)
    assert complaints == []


def test_a_contradiction_is_seen_at_once_and_resolved_by_a_button(page: Page) -> None:
    page.goto(ANSWER)
    find(
        page,
        "sh-138-8x1651-48",
        "Hub on its spindle, 8 x 165.1 mm, knuckle circle 138 mm, 48 teeth (sh-138-8x1651-48)",
        "front hub, both sides",
    )
    expect(page.get_by_role("heading", name="These wishes cannot all be had")).to_be_visible()
    expect(page.locator(".wish.against")).not_to_have_count(0)
    way = page.get_by_role("link", name=re.compile("Give up: Fit Hub on its spindle, 8 x 165.1"))
    way.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Also needed")).to_be_visible()
    assert asked(page) == asked_of(ANSWER)


def asked_of(address: str) -> list[tuple[str, str]]:
    return parse_qsl(urlsplit(address).query)


def test_the_chain_of_a_line_is_drawn_by_a_key(page: Page) -> None:
    page.goto(ANSWER)
    line = page.locator("#line-front-left-outer-shaft")
    line.focus()
    page.keyboard.press("w")
    expect(line.locator(".why")).to_have_attribute("open", "")
    expect(page.locator("#chain polyline")).to_have_count(1)
    expect(page.locator("#chain-words")).to_have_text(
        "front left outer shaft ← front left axle joint ← front left inner shaft ← front carrier"
    )
    page.keyboard.press("Escape")
    expect(line.locator(".why")).not_to_have_attribute("open", "")


def test_focus_is_always_to_be_seen(page: Page) -> None:
    # WCAG 2.2, 2.4.7
    page.goto(ANSWER)
    for _ in range(25):
        page.keyboard.press("Tab")
        style = page.evaluate("(s => `${s.outlineStyle} ${s.outlineWidth}`)(getComputedStyle(document.activeElement))")
        assert style.startswith("solid 3px")


def test_single_keys_can_be_switched_off(page: Page) -> None:
    # WCAG 2.2, 2.1.4
    page.goto(ANSWER)
    page.keyboard.press("?")
    page.locator("#keys-on").uncheck()
    page.locator("h1").click()
    page.keyboard.press("/")
    expect(page.locator("#q")).not_to_be_focused()
    page.reload()
    expect(page.locator("#keys-on")).not_to_be_checked()


def test_long_work_shows_that_it_goes_on_and_a_lost_service_is_told(page: Page) -> None:
    page.goto(ANSWER)

    held: list[Route] = []
    page.route(re.compile("swap="), lambda route: held.append(route))
    page.locator(GASKET).focus()
    page.keyboard.press("1")
    expect(page.locator("#busy")).to_contain_text("Working it out")
    held[0].abort()
    expect(page.locator("#busy")).to_contain_text("does not answer")


def test_lengths_in_inches_are_remembered(page: Page) -> None:
    page.goto("/v1/parts/al-895-33")
    page.get_by_role("button", name="in", exact=True).click()
    expect(page.get_by_text("1.7812 in (45.242 mm)")).to_be_visible()
    page.goto("/?vehicle=hill-patrol")
    expect(page.get_by_role("button", name="in", exact=True)).to_have_attribute("aria-pressed", "true")


def test_a_link_reopens_the_same_ask(page: Page, browser: Browser, base_url: str) -> None:
    page.goto(ANSWER)
    link = page.get_by_role("link", name="Link to this ask").get_attribute("href")
    other = browser.new_context(base_url=base_url).new_page()
    other.goto(str(link))
    assert other.locator(".total b").inner_text() == page.locator(".total b").inner_text()
    other.context.close()


# ---------------------------------------------------------------------- without JavaScript


def test_the_whole_ask_without_javascript(plain: Page) -> None:
    plain.goto("/")
    plain.get_by_role("link", name=re.compile("hill patrol truck")).click()
    plain.get_by_role("searchbox").fill("al-895-33")
    plain.get_by_role("button", name="Find").click()
    plain.get_by_role("link", name=re.compile(r"fit Air locker 8.95 in.* \(al-895-33\) at front carrier")).click()
    assert asked(plain) == [("vehicle", "hill-patrol"), ("fit", "front/carrier:al-895-33")]
    expect(plain.get_by_role("heading", name="Also needed")).to_be_visible()
    # the received parts are under a heading that opens without scripts
    plain.locator(".received summary").click()
    plain.get_by_role("link", name="Keep the rear housing", exact=True).click()
    assert ("keep", "rear/housing") in asked(plain)


def test_swap_chain_and_way_out_without_javascript(plain: Page) -> None:
    plain.goto(ANSWER)
    line = plain.locator(GASKET)
    line.get_by_text("other choice").click()
    line.get_by_role("link", name=re.compile("^Take Steel-core cover gasket")).click()
    expect(plain.locator(GASKET)).to_contain_text("swapped in")
    outer = plain.locator("#line-front-left-outer-shaft")
    outer.locator(".why summary").click()
    outer.get_by_role("link", name="Show it on the drawing").click()
    expect(plain.locator("#chain polyline")).to_have_count(1)
    plain.goto(ANSWER + "&fit=front/*/hub:sh-138-8x1651-48")
    plain.get_by_role("link", name=re.compile("Give up")).first.click()
    expect(plain.get_by_role("heading", name="Also needed")).to_be_visible()
    plain.get_by_role("button", name="in", exact=True).click()
    expect(plain.get_by_role("button", name="in", exact=True)).to_have_attribute("aria-pressed", "true")
