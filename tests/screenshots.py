"""Pictures of the main pages, on a desk, on a phone, dark and printed: `python tests/screenshots.py FOLDER`.

Needs Debian's Chromium; the service over the seed data is started for it.
"""

import sys
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, sync_playwright

from counter_browser import browser_path, serving
from page_client import address_of, hill_patrol

ANSWER = address_of(hill_patrol())
DESK: dict[str, Any] = {"viewport": {"width": 1280, "height": 900}}
PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 2,
    "is_mobile": True,
    "has_touch": True,
}
DARK: dict[str, Any] = {**DESK, "color_scheme": "dark"}
PAGES = {
    "vehicles": "/",
    "received": "/?vehicle=orchard-runabout",
    "answer": ANSWER,
    "chain": ANSWER + "&line=front/left/outer-shaft#line-front-left-outer-shaft",
    "figures": ANSWER + "#figures",
    "found": "/?vehicle=hill-patrol&q=33+teeth",
    "contradiction": ANSWER + "&fit=front/*/hub:sh-138-8x1651-48",
    "misunderstood": ANSWER + "&fit=front/carier:al-895-33",
    "part": "/v1/parts/al-895-33",
    "vehicle": "/v1/vehicles/hill-patrol",
    "kind": "/v1/kinds/RingAndPinionSet",
    "rule": "/v1/rules/innerShaftInSideGear",
    "not-on-record": "/v1/parts/nothing",
}
SHEETS = {"order": address_of(hill_patrol(), "/sheets/order"), "work": address_of(hill_patrol(), "/sheets/work")}


def take(browser: Browser, base: str, folder: Path) -> None:
    """Every page on a desk and a phone, the main ones dark, the sheets as A4 and letter."""
    for look, options, names in (
        ("desk", DESK, PAGES),
        ("phone", PHONE, PAGES),
        ("dark", DARK, ("vehicles", "answer", "contradiction", "part")),
    ):
        context = browser.new_context(base_url=base, **options)
        page = context.new_page()
        for name in names:
            page.goto(PAGES[name])
            page.wait_for_timeout(200)
            page.screenshot(path=folder / f"{name}-{look}.png")
        context.close()
    page = browser.new_page(base_url=base)
    for name, path in {**SHEETS, "answer": ANSWER}.items():
        page.goto(path)
        page.pdf(path=folder / f"{name}-a4.pdf", format="A4")
        page.pdf(path=folder / f"{name}-letter.pdf", format="Letter")
        page.emulate_media(media="print")
        page.set_viewport_size({"width": 720, "height": 1018})
        page.screenshot(path=folder / f"{name}-print.png")


def main(folder: Path) -> None:
    """Take all pictures into the folder."""
    path = browser_path()
    if path is None:
        sys.exit("no browser is installed; apt-get install --no-install-recommends chromium fonts-liberation")
    folder.mkdir(parents=True, exist_ok=True)
    with serving() as base, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox", "--disable-dev-shm-usage"])
        take(browser, base, folder)
        browser.close()
    print(f"{len(list(folder.iterdir()))} pictures in {folder}")


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "var/screenshots"))
