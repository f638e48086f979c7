"""A pack may say things in a second language; answers choose by what the caller reads, and fall back to English."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from api_client import client_of
from crosspin.answer.desk import Desk
from crosspin.answer.plan import Plan
from crosspin.answer.text import tell_text
from crosspin.api.app import create_app
from crosspin.api.language import choose_language
from crosspin.knockon.ask import Ask, Fit
from crosspin.store.describe import words
from seed import ROOT, own_desk, seed_desk

WINCH = Path(__file__).parent / "packs" / "winch"
WISH = Ask(vehicle="hill-patrol", fit=(Fit(at="winch", part="hw-6t"),))


@pytest.fixture(scope="module")
def desk() -> Iterator[Desk]:
    with own_desk(WINCH) as opened:
        yield opened


def test_sentences_are_told_in_the_language_that_is_asked_for(desk: Desk) -> None:
    plan = desk.ask(WISH, language="de")
    assert isinstance(plan, Plan)
    (pump,) = [s for s in plan.steps if s.position == "winch-pump"]
    assert pump.reasons[0].sentence == "Hydraulic winch, 6 t läuft mit Öl und braucht eine Pumpe."
    (ruled_out,) = [r for r in pump.ruled_out if r.part.id == "wp-40"]
    assert ruled_out.because == ("Die Winde braucht 58 L/min, die Pumpe gibt 40 L/min.",)
    # nothing else is written in German, so that it stays English
    assert plan.measurements[0].how == "Mark one tooth with chalk and count round to it, twice."


def test_english_is_what_it_was(desk: Desk) -> None:
    ask = Ask.model_validate_json((ROOT / "seed_data/asks/hill-patrol.json").read_text())
    plain, other = (tell_text(d.ask(ask, language=tag)) for d, tag in ((seed_desk(), "en"), (seed_desk(), "fr")))
    assert plain == other == tell_text(seed_desk().ask(ask))
    assert desk.languages == ("en", "de")


# RFC 9110, section 12.5.4, and RFC 4647, section 3: ranges, weights, and the star
@pytest.mark.parametrize(
    ("header", "chosen"),
    [
        (None, "en"),
        ("de", "de"),
        ("de-AT, en;q=0.5", "de"),
        ("DE", "de"),
        ("fr, de;q=0.3, en;q=0.2", "de"),
        ("en, de;q=0.9", "en"),
        ("de;q=0", "en"),
        ("de;q=x", "en"),
        ("de;q=nan", "en"),
        ("fr", "en"),
        (",,;;", "en"),
        ("*", "en"),
    ],
)
def test_the_header_chooses(header: str | None, chosen: str) -> None:
    assert choose_language(header, ("en", "de")) == chosen


def test_the_service_answers_in_the_language_of_the_header(desk: Desk) -> None:
    with client_of(create_app(desk)) as client:
        body = WISH.model_dump(mode="json")
        german = client.post("/v1/knock-on", json=body, headers={"Accept-Language": "de-CH, en;q=0.4"})
        english = client.post("/v1/knock-on", json=body)
        assert (german.headers["content-language"], english.headers["content-language"]) == ("de", "en")
        assert "läuft mit Öl" in german.text
        assert "läuft mit Öl" not in english.text
        assert german.headers["etag"] != english.headers["etag"]
        assert "Accept-Language" in german.headers["vary"]
        fit = client.get("/v1/fit", params={"one": "hw-6t", "other": "wp-40"}, headers={"Accept-Language": "de"})
        assert fit.headers["content-language"] == "de"
        assert fit.json()["criteria"][0]["sentence"] == "Die Winde braucht 58 L/min, die Pumpe gibt 40 L/min."
        mates = client.get("/v1/parts/hw-6t/mates", headers={"Accept-Language": "de"})
        assert mates.headers["content-language"] == "de"


def test_a_term_is_told_in_english_whatever_other_words_it_has(desk: Desk) -> None:
    """The German text of the joint's sentence comes before the English one in the alphabet."""
    iri = "https://crosspin.example/def/winchOnPump-oilFlow"
    said = words(desk.library.graph, iri, "https://crosspin.example/def/saysClash")
    assert said == "The winch asks for {left}, the pump gives {right}."
    with client_of(create_app(desk)) as client:
        sheet = client.get("/def/oilFlow").json()
    assert sheet["label"] == "oil flow"
    labels = next(line["values"] for line in sheet["statements"] if line["property"] == "rdfs:label")
    assert [(value["text"], value["language"]) for value in labels] == [("Ölstrom", "de"), ("oil flow", "en")]
