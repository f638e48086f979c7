"""What the counter's guide says is what the counter does."""

import re
from dataclasses import fields

from crosspin.page.address import AskAddress, read_address
from crosspin.page.drawing import LETTERS
from page_client import get
from seed import ROOT, seed_desk

GUIDE = (ROOT / "docs" / "counter.md").read_text(encoding="utf-8")


def test_the_address_in_the_guide_is_answered() -> None:
    (address,) = re.findall(r"^    (/\?.*)$", GUIDE, flags=re.MULTILINE)
    reply = get(address)
    assert reply.status_code == 200
    assert "Also needed" in reply.text


def test_every_parameter_is_in_the_guide() -> None:
    told = set(re.findall(r"`([a-z]+)`", "".join(re.findall(r"^\| (`[^|]*) \|", GUIDE, flags=re.MULTILINE))))
    written = AskAddress("v", ("a:b",), ("c:d",), ("e",), ("f",), ("g",), in_stock_only=True)
    assert len(fields(written)) == len({name for name, _ in written.pairs()})
    assert {name for name, _ in written.pairs()} - {"vehicle"} | {"q", "line"} == told
    assert read_address(written.pairs()) == written


def test_every_key_of_the_page_is_in_the_guide() -> None:
    page = get("/").text
    listed = page[page.index('id="keys"') : page.index("</dl>")]
    keys = set(re.findall(r"<kbd>(.*?)</kbd>", listed))
    assert keys
    assert keys <= set(re.findall(r"<kbd>(.*?)</kbd>", GUIDE))


def test_every_letter_of_the_drawing_is_in_the_guide() -> None:
    assert {letter for letter in LETTERS.values() if letter} == set(re.findall(r"\*\*([A-Z?])\*\*", GUIDE))


def test_what_the_guide_types_is_found() -> None:
    typed = re.search(r"type what they say: (.*?), or the id", GUIDE, flags=re.DOTALL)
    assert typed
    for words in re.findall(r"`(.*?)`", typed[1]):
        assert seed_desk().find(words).parts, words
