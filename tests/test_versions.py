"""The version of what is recorded follows from all that went in, so that nothing answers by what was replaced."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st

from crosspin.catalog.library import Library, version_of
from crosspin.catalog.reading import text_digest
from crosspin.store.digest import digest_of
from refusals import own_client
from seed import ROOT

OWN: dict[str, Any] = {"vehicle": "hill-patrol", "fit": [{"at": "front/cover", "part": "own-1"}]}
OTHER: dict[str, Any] = {"vehicle": "hill-patrol", "fit": [{"at": "front/cover", "part": "cv-815"}]}
ONE = "id,label,price,stock,lacks\n,,EUR,,\nown-1,Own part,1.00,9,\n"


@pytest.fixture(scope="module")
def client() -> Iterator[TestClient]:
    with own_client() as client:
        yield client


def take_in(client: TestClient, kind: str, media: str = "text/csv", text: str = ONE, source: str = "own.csv") -> str:
    reply = client.post(
        "/v1/imports", params={"source": source, "kind": kind}, content=text, headers={"Content-Type": media}
    )
    assert reply.status_code == 201, reply.text
    return str(reply.json()["version"])


def test_the_same_text_of_another_kind_is_another_version(client: TestClient) -> None:
    """The kept answer to the same question is not sent again: it was right of the other kind only."""
    first = take_in(client, "DifferentialCover")
    own, other = (client.post("/v1/knock-on", json=ask) for ask in (OWN, OTHER))
    part = client.get("/v1/parts/own-1")
    assert own.status_code == other.status_code == 200
    assert client.post("/v1/knock-on", json=OWN).headers["server-timing"] == "kept"

    second = take_in(client, "CoverGasket")
    assert second != first
    refused = client.post("/v1/knock-on", json=OWN)
    assert refused.status_code == 422
    again = client.post("/v1/knock-on", json=OTHER, headers={"If-None-Match": other.headers["etag"]})
    assert (again.status_code, again.json()["version"]) == (200, second)
    assert again.headers["etag"] != other.headers["etag"]
    now = client.get("/v1/parts/own-1", headers={"If-None-Match": part.headers["etag"]})
    assert (now.status_code, now.json()["kind"]) == (200, "CoverGasket")

    assert take_in(client, "DifferentialCover") == first
    assert client.post("/v1/knock-on", json=OWN).content == own.content


def test_the_same_text_in_another_file_of_a_folder_is_another_version(tmp_path: Path) -> None:
    library = Library(ROOT / "ontology")
    versions = []
    for name in ("CoverGasket.csv", "DifferentialCover.csv"):
        path = tmp_path / "own" / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(ONE)
        assert not library.has(path.parent)
        library.import_folder(path.parent)
        assert library.has(path.parent)
        versions.append(library.holdings.version)
        path.unlink()
    assert versions[0] != versions[1]


PIECES = st.lists(st.text("ab,\0 |", max_size=4), max_size=6)


@given(PIECES, PIECES)
def test_different_rows_of_texts_have_different_digests(one: list[str], other: list[str]) -> None:
    assert (digest_of(one) == digest_of(other)) is (one == other)


@given(st.lists(st.text("ab", min_size=1, max_size=6), min_size=1, max_size=8))
def test_texts_cut_elsewhere_have_another_digest(pieces: list[str]) -> None:
    whole = "".join(pieces)
    cuts = [[whole[:i], whole[i:]] for i in range(len(whole) + 1)]
    assert len({digest_of(cut) for cut in cuts}) == len(cuts)


INPUTS = st.tuples(st.binary(max_size=4), st.sampled_from(["text/csv", "text/turtle"]), st.text("ab", max_size=4))


@given(st.dictionaries(st.text("ab ", min_size=1, max_size=4), INPUTS, max_size=4), st.data())
def test_no_two_sets_of_inputs_have_one_version(
    sources: dict[str, tuple[bytes, str, str]], data: st.DataObject
) -> None:
    """Of all that went in (name, kind, media type, text) anything may differ, and the version differs."""

    def version(inputs: dict[str, tuple[bytes, str, str]]) -> str:
        return version_of("ontology", {name: text_digest(*given) for name, given in inputs.items()})

    other = data.draw(st.dictionaries(st.text("ab ", min_size=1, max_size=4), INPUTS, max_size=4))
    assert (version(sources) == version(other)) is (sources == other)
    for name, (text, media, kind) in sources.items():
        for changed in ((text + b"a", media, kind), (text, media + "a", kind), (text, media, kind + "a")):
            assert version({**sources, name: changed}) != version(sources)
