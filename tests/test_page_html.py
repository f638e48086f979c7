"""The pages as they are sent: valid, safe, light, usable without scripts."""

import csv
import gzip
import re
from collections.abc import Iterator
from decimal import Decimal
from io import StringIO
from typing import Any
from urllib.parse import unquote

import pytest

from api_client import client_of, seed_app, seed_client, settings
from crosspin.answer.desk import Desk
from crosspin.api.app import create_app
from crosspin.api.examples import CSV
from page_client import ACCEPT, address_of, get, hill_patrol, tree
from seed import own_desk

ANSWER = address_of(hill_patrol())
CONTRADICTION = ANSWER + "&fit=front/*/hub:sh-138-8x1651-48"
PAGES = {
    "pick": "/",
    "received": "/?vehicle=hill-patrol",
    "answer": ANSWER,
    "chain": ANSWER + "&line=front/left/outer-shaft",
    "found": ANSWER + "&q=33+teeth",
    "nothing found": "/?vehicle=hill-patrol&q=zebra",
    "contradiction": CONTRADICTION,
    "not understood": ANSWER + "&fit=front/carier:al-895-33",
    "unknown vehicle": "/?vehicle=nothing",
    "order sheet": address_of(hill_patrol(), "/sheets/order"),
    "work sheet": address_of(hill_patrol(), "/sheets/work"),
    "part": "/v1/parts/al-895-33",
    "kit": "/v1/kits/brake-345-4x44",
    "vehicle": "/v1/vehicles/hill-patrol",
    "vehicles": "/v1/vehicles",
    "kind": "/v1/kinds/RingAndPinionSet",
    "kinds": "/v1/kinds",
    "joint kind": "/v1/rules/innerShaftInSideGear",
    "rules": "/v1/rules",
    "rule written as a query": "/v1/rules/bringByFresh",
    "need": "/v1/rules/airLockerNeedsCompressor",
    "term": "/def/Carrier",
    "deprecated term": "/def/contains",
    "ontology": "/def/",
    "not on record": "/v1/parts/nothing",
    "no such address": "/nothing",
}


@pytest.fixture(scope="module", params=list(PAGES.values()), ids=list(PAGES))
def page(request: pytest.FixtureRequest) -> Any:
    return get(request.param)


def elements(text: str) -> list[Any]:
    return [element for element in tree(text).iter() if isinstance(element.tag, str)]


# ---------------------------------------------------------------------- what HTML asks of every page


def test_every_page_is_html_as_the_standard_has_it(page: Any) -> None:
    # html5rdf (a fork of html5lib) follows the parsing rules of the HTML standard; strict: any parse error raises
    assert page.headers["content-type"] == "text/html; charset=utf-8"
    tree(page.text)


def test_ids_are_used_once_and_what_is_pointed_at_is_there(page: Any) -> None:
    # HTML standard 3.2.6: an id is unique in its tree
    found = [element.get("id") for element in elements(page.text) if element.get("id")]
    assert sorted(set(found)) == sorted(found)
    for name in ("for", "aria-labelledby", "aria-describedby", "aria-controls"):
        for element in elements(page.text):
            assert set((element.get(name) or "").split()) <= set(found)
    for element in elements(page.text):
        if (element.get("href") or "").startswith("#"):
            assert element.get("href")[1:] in found


def test_no_page_needs_more_than_its_policy_allows(page: Any) -> None:
    # Content Security Policy Level 3: without 'unsafe-inline' none of these would run or apply
    policy = dict(part.strip().partition(" ")[::2] for part in page.headers["content-security-policy"].split(";"))
    assert policy["default-src"] == policy["base-uri"] == policy["frame-ancestors"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["form-action"] == "'self'"
    assert "unsafe" not in page.headers["content-security-policy"]
    for element in elements(page.text):
        assert not [name for name in element.attrib if name == "style" or name.startswith(("on", "hx-on"))]
        assert element.tag != "style"
        if element.tag == "script":
            assert (element.text or "").strip() == ""
        for name in ("src", "href", "action"):
            assert not (element.get(name) or "").startswith(("http:", "https:", "//", "javascript:", "data:"))


def test_every_page_has_a_language_a_title_and_one_main_heading(page: Any) -> None:
    # WCAG 2.2: 3.1.1, 2.4.2, 1.3.1
    found = elements(page.text)
    assert next(e for e in found if e.tag == "html").get("lang") == "en"
    assert (next(e for e in found if e.tag == "title").text or "").strip()
    assert sum(e.tag == "h1" for e in found) == 1
    assert all(e.get("alt") is not None for e in found if e.tag == "img")


def test_the_other_security_headers_are_there_too(page: Any) -> None:
    assert page.headers["x-content-type-options"] == "nosniff"
    assert page.headers["referrer-policy"] == "no-referrer"
    assert "accept" in page.headers["vary"].lower()


# ---------------------------------------------------------------------- weight


def test_an_answer_comes_in_one_round_trip_and_under_150_kilobytes() -> None:
    # the project's own budget: the page with its style and scripts, as transferred
    reply = get(ANSWER, headers={"Accept-Encoding": "gzip"})
    assert reply.headers["content-encoding"] == "gzip"
    carried = len(gzip.compress(reply.content, 6, mtime=0))
    assert int(reply.headers["content-length"]) == carried
    links = [e.get("href") or e.get("src") for e in elements(reply.text) if e.tag in ("link", "script")]
    for link in links:
        sent = seed_client().get(link, headers={"Accept-Encoding": "gzip"})
        assert sent.status_code == 200
        assert "immutable" in sent.headers["cache-control"]
        carried += int(sent.headers["content-length"])
    assert carried < 150_000
    # the answer itself is in the page: nothing is fetched after it
    assert "Ring and pinion set 8.95 in, 41/11, reverse cut" in reply.text


def test_the_same_page_is_not_sent_twice() -> None:
    first = get(ANSWER)
    again = get(ANSWER, headers={"If-None-Match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    # a browser puts these in place of what it holds: a stricter policy would leave the page without style and scripts
    for name in ("content-security-policy", "vary"):
        assert again.headers[name] == first.headers[name]
    in_inches = get(ANSWER, headers={"If-None-Match": first.headers["etag"], "Cookie": "lengths=in"})
    assert in_inches.status_code == 200


def test_a_file_under_another_name_is_not_found() -> None:
    assert get("/static/000000000000/counter.css").status_code == 404
    assert get("/static/000000000000/..%2f..%2frender.py").status_code == 404


# ---------------------------------------------------------------------- without scripts


def test_the_ask_is_in_the_address_and_every_wish_can_be_dropped_by_a_link() -> None:
    text = get(ANSWER).text
    drops = [e.get("href") for e in elements(text) if "Drop this wish" in (e.get("aria-label") or "")]
    ask = hill_patrol()
    assert len(drops) == len(ask["fit"]) + len(ask["keep"])
    without = get(drops[0]).text
    assert len([1 for e in elements(without) if "Drop this wish" in (e.get("aria-label") or "")]) == len(drops) - 1


def test_searching_is_a_plain_form_that_keeps_the_ask() -> None:
    text = get(ANSWER).text
    form = next(e for e in elements(text) if e.get("role") == "search")
    fields = [(e.get("name"), e.get("value")) for e in form.iter("input") if e.get("type") == "hidden"]
    assert ("vehicle", "hill-patrol") in fields
    assert sum(name == "fit" for name, _ in fields) == len(hill_patrol()["fit"])
    found = seed_client().get("/", params=[*fields, ("q", "lock nut")], headers={"Accept": ACCEPT})
    assert found.status_code == 200
    assert "Locknut set" in found.text


def test_an_offer_is_a_link_to_the_ask_with_it() -> None:
    text = get("/?vehicle=hill-patrol&q=al-895-33").text
    link = next(e.get("href") for e in elements(text) if e.get("data-offer") is not None)
    assert link == "/?vehicle=hill-patrol&fit=front/carrier:al-895-33"
    assert "Also needed" in get(link).text


def test_an_alternative_is_a_link_to_the_ask_with_it_at_the_cost_told() -> None:
    text = get(ANSWER).text
    line = next(e for e in elements(text) if e.get("id") == "line-front-cover-gasket")
    other = next(e for e in line.iter("li") if e.find("span") is not None and "cg-895-steel" in "".join(e.itertext()))
    words = "".join(other.itertext())
    difference = Decimal(re.search(r"\+([\d.]+) EUR", words)[1])  # type: ignore[index]
    link = next(e.get("href") for e in other.iter("a"))
    assert unquote(link) == unquote(ANSWER).replace("&keep", "&swap=front/cover-gasket:cg-895-steel&keep", 1)
    assert "swapped in" in get(link).text
    # the whole plan, asked for with that part, costs what was told
    ask = hill_patrol()
    before = seed_client().post("/v1/knock-on", json=ask).json()["cost"]
    ask["fit"].append({"at": "front/cover-gasket", "part": "cg-895-steel"})
    after = seed_client().post("/v1/knock-on", json=ask).json()["cost"]
    assert Decimal(after["money"]) - Decimal(before["money"]) == difference


def test_a_way_out_is_a_link_to_a_plan() -> None:
    text = get(CONTRADICTION).text
    assert "These wishes cannot all be had" in text
    ways = [e.get("href") for e in elements(text) if e.tag == "a" and "Give up" in "".join(e.itertext())]
    assert ways
    assert get(ways[0]).text.count("Give up") == 0
    assert "Also needed" in get(ways[0]).text


def test_what_is_wrong_with_a_wish_stands_beside_it() -> None:
    reply = get(ANSWER + "&fit=front/carier:al-895-33")
    assert reply.status_code == 422
    assert "did you mean front/carrier" in reply.text


def test_a_page_that_is_too_much_for_the_search_says_what_to_do() -> None:
    reply = get("/?vehicle=hill-patrol&fit=nonsense")
    assert reply.status_code == 422
    assert "write it like front/carrier:some-part" in reply.text


# ---------------------------------------------------------------------- one address, several faces


def test_a_record_that_is_not_sent_twice_keeps_its_policy() -> None:
    first = get("/v1/parts/al-895-33")
    again = get("/v1/parts/al-895-33", headers={"If-None-Match": first.headers["etag"]})
    assert again.status_code == 304
    assert again.headers["content-security-policy"] == first.headers["content-security-policy"]


@pytest.mark.parametrize("path", ["/v1/parts/al-895-33", "/v1/vehicles/hill-patrol", "/v1/kinds/Carrier", "/v1/rules"])
def test_one_address_gives_a_page_to_browsers_and_data_to_programs(path: str) -> None:
    assert get(path).headers["content-type"].startswith("text/html")
    assert seed_client().get(path).headers["content-type"] == "application/json"
    assert seed_client().get(path, headers={"Accept": "*/*"}).headers["content-type"] == "application/json"


def test_errors_are_pages_for_browsers_and_problem_documents_for_programs() -> None:
    page, document = get("/v1/parts/nothing"), seed_client().get("/v1/parts/nothing")
    assert (page.status_code, document.status_code) == (404, 404)
    assert document.headers["content-type"] == "application/problem+json"
    assert document.json()["problems"][0]["wrong"] in page.text


def test_a_busy_service_says_so_on_a_page() -> None:
    with client_of(create_app(seed_app().state.desk, settings(waiting=0))) as client:
        reply = get(ANSWER, client)
    assert reply.status_code == 503
    assert reply.headers["retry-after"]
    assert "Too many questions are waiting" in reply.text


# ---------------------------------------------------------------------- habits


def test_lengths_are_remembered_and_told_in_inches() -> None:
    with client_of(seed_app()) as client:
        assert "45.242 mm" in get("/v1/parts/al-895-33", client).text
        done = client.post("/lengths", data={"lengths": "in", "back": "/v1/parts/al-895-33"}, follow_redirects=False)
        assert (done.status_code, done.headers["location"]) == (303, "/v1/parts/al-895-33")
        assert "httponly" in done.headers["set-cookie"].lower()
        # 45.242 / 25.4 = 1.78118...: an inch is 25.4 mm exactly
        assert "1.7812 in (45.242 mm)" in get("/v1/parts/al-895-33", client).text
        # the sentences of an answer too: 68.263 / 25.4 = 2.68752
        assert "2.6875 in (68.263 mm)" in get(ANSWER, client).text


@pytest.mark.parametrize("back", ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "x"])
def test_choosing_lengths_leads_nowhere_else(back: str) -> None:
    done = seed_client().post("/lengths", data={"lengths": "mm", "back": back}, follow_redirects=False)
    assert done.headers["location"] == "/"


def test_only_the_lengths_that_there_are_can_be_chosen() -> None:
    assert seed_client().post("/lengths", data={"lengths": "ell"}).status_code == 422


# ---------------------------------------------------------------------- sheets


def test_the_order_list_as_csv_adds_up_to_the_plan() -> None:
    plan = seed_client().post("/v1/knock-on", json=hill_patrol()).json()
    reply = get(address_of(hill_patrol(), "/sheets/order.csv"))
    assert "attachment" in reply.headers["content-disposition"]
    # RFC 4180: CRLF between lines, a header, as many fields in every line
    assert reply.text.count("\r\n") == len(plan["order"]) + 1
    rows = list(csv.DictReader(StringIO(reply.text)))
    assert [row["id"] for row in rows] == [line["id"] for line in plan["order"]]
    assert sum(Decimal(row["total"]) for row in rows) == Decimal(plan["totals"]["parts"])
    assert all(Decimal(row["each"]) * int(row["quantity"]) == Decimal(row["total"]) for row in rows)


def test_there_is_no_sheet_without_a_plan() -> None:
    for sheet in ("order", "work", "order.csv"):
        reply = get(CONTRADICTION.replace("/?", f"/sheets/{sheet}?"))
        assert reply.status_code == 422
        assert "contradict" in reply.text


def test_the_work_sheet_has_every_job_and_every_caution() -> None:
    plan = seed_client().post("/v1/knock-on", json=hill_patrol()).json()
    words = " ".join("".join(tree(get(address_of(hill_patrol(), "/sheets/work")).text).itertext()).split())
    for work in plan["work"]:
        assert " ".join(work["text"].split()) in words
    for caution in plan["cautions"]:
        assert " ".join(caution["text"].split()) in words
    for measurement in plan["measurements"]:
        assert measurement["how"] in words


def test_cautions_stand_where_the_work_is_and_all_of_them_do() -> None:
    plan = seed_client().post("/v1/knock-on", json=hill_patrol()).json()
    text = get(ANSWER).text
    todo = next(e for e in elements(text) if e.get("id") == "todo")
    in_work = {caution for work in plan["work"] for caution in work["cautions"]}
    for caution in in_work:
        assert caution in "".join(todo.itertext())
    for caution in plan["cautions"]:
        assert caution["text"] in "".join(tree(text).itertext())


def test_every_circuit_is_told_at_the_counter_and_on_the_work_sheet() -> None:
    plan = seed_client().post("/v1/knock-on", json=hill_patrol()).json()
    assert plan["circuits"]["lines"]
    for path in (ANSWER, address_of(hill_patrol(), "/sheets/work")):
        words = " ".join("".join(tree(get(path).text).itertext()).split())
        for line in plan["circuits"]["lines"]:
            assert f"{line['label']}{line['part']}" in words
        for sentence in (*plan["circuits"]["interlocks"], *plan["circuits"]["alternator"]["sentences"]):
            assert sentence in words


# ---------------------------------------------------------------------- hostile words


HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>{{ 7*7 }}&amp;"


@pytest.fixture(scope="module")
def hostile_desk() -> Iterator[Desk]:
    quoted = HOSTILE.replace('"', '""')
    rows = CSV.replace('"Cork cover gasket, eleven-bolt-895"', f'"{quoted}"')
    with own_desk() as desk:
        desk.import_text("hostile.csv", rows.encode(), "text/csv", "CoverGasket")
        yield desk


@pytest.mark.parametrize(
    "path",
    [
        "/v1/parts/cg-895-cork",
        "/v1/kinds/CoverGasket",
        "/?vehicle=hill-patrol&q=cg-895-cork",
        "/find?vehicle=hill-patrol&q=cg-895-cork",
        "/?vehicle=hill-patrol&fit=front/cover-gasket:cg-895-cork",
        ANSWER + "&swap=front/cover-gasket:cg-895-cork",
    ],
)
def test_a_hostile_label_is_told_and_never_run(hostile_desk: Desk, path: str) -> None:
    with client_of(create_app(hostile_desk)) as client:
        text = get(path, client).text
    assert "<script>alert" not in text
    assert "<img src=x" not in text
    assert "49&amp;amp;" not in text  # the label is no template either
    assert "&lt;script&gt;alert(1)" in text
    if path.startswith("/find"):
        return
    assert not [e for e in elements(text) if e.tag == "img" or any(name.startswith("on") for name in e.attrib)]


@pytest.mark.parametrize("name", ["q", "vehicle", "fit", "keep", "remove", "swap", "line", "stock"])
def test_hostile_parameters_are_told_and_never_run(name: str) -> None:
    reply = seed_client().get("/", params={"vehicle": "hill-patrol", name: HOSTILE}, headers={"Accept": ACCEPT})
    assert reply.status_code in (200, 422)
    assert "<script>alert" not in reply.text
    found = elements(reply.text)
    assert not [e for e in found if e.tag == "img" or any(attribute.startswith("on") for attribute in e.attrib)]


def test_a_spreadsheet_takes_nothing_in_the_order_for_a_formula() -> None:
    # OWASP, CSV injection: a cell that begins with = + - @ is run by spreadsheets
    rows = CSV.replace('"Cork cover gasket, eleven-bolt-895"', "=1+1")
    with own_desk() as desk, client_of(create_app(desk)) as client:
        desk.import_text("hostile.csv", rows.encode(), "text/csv", "CoverGasket")
        path = address_of(hill_patrol(), "/sheets/order.csv", swap="front/cover-gasket:cg-895-cork")
        text = get(path, client).text
    cells = [cell for row in csv.reader(StringIO(text)) for cell in row]
    assert "'=1+1" in cells
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@"))]
