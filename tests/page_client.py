"""The counter page as a browser asks for it, over the seed data."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import html5rdf
from fastapi.testclient import TestClient
from httpx2 import Response

from api_client import seed_client
from seed import ROOT

# What browsers send (the example of RFC 9110, 12.5.1, is of the same form).
ACCEPT = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"
ASK = ROOT / "seed_data" / "asks" / "hill-patrol.json"


def address_of(ask: dict[str, Any], path: str = "/", **more: str) -> str:
    """The address of an ask at the counter, written by hand as docs/counter.md says."""
    pairs = [("vehicle", ask["vehicle"])]
    for fit in ask.get("fit", ()):
        pairs.append(("fit", f"{fit['at']}:{fit['part']}" if "part" in fit else f"{fit['at']}:kit:{fit['kit']}"))
    pairs += [("keep", at) for at in ask.get("keep", ())]
    return f"{path}?{urlencode([*pairs, *more.items()])}"


def hill_patrol() -> dict[str, Any]:
    """The rescue wagon's ask."""
    ask: dict[str, Any] = json.loads(Path(ASK).read_text(encoding="utf-8"))
    return ask


def get(path: str, client: TestClient | None = None, headers: Mapping[str, str] | None = None) -> Response:
    """A page as a browser gets it."""
    found: Response = (client or seed_client()).get(path, headers={"Accept": ACCEPT, **(headers or {})})
    return found


def tree(text: str) -> Any:
    """The page as the HTML standard's parser reads it; raises ParseError at the first thing that is not HTML."""
    parser = html5rdf.HTMLParser(tree=html5rdf.getTreeBuilder("etree"), strict=True, namespaceHTMLElements=False)
    return parser.parse(text)
