"""Settings come from the environment, and what is wrong with one is said by its name."""

import re
from dataclasses import fields

import pytest

from crosspin.api.settings import Settings, WrongSetting
from seed import ROOT


def test_the_environment_rules() -> None:
    given = {"CROSSPIN_API_KEY": "k", "CROSSPIN_QUERY_SECONDS": "2.5", "CROSSPIN_BODY_LIMIT": "10", "HOME": "/"}
    assert Settings.from_environment(given) == Settings(api_key="k", query_seconds=2.5, body_limit=10)
    assert Settings.from_environment({}) == Settings()
    assert Settings.from_environment({"CROSSPIN_PACKS": "/a:/b"}).packs == "/a:/b"


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("CROSSPIN_BODY_LIMT", "10"),
        ("CROSSPIN_BODY_LIMIT", "ten"),
        ("CROSSPIN_BODY_LIMIT", "1.5"),
        ("CROSSPIN_BODY_LIMIT", "0"),
        ("CROSSPIN_QUERY_SECONDS", "-1"),
        ("CROSSPIN_QUERY_SECONDS", "nan"),
        ("CROSSPIN_QUERY_SECONDS", "inf"),
    ],
)
def test_a_wrong_setting_is_named(name: str, value: str) -> None:
    with pytest.raises(WrongSetting, match=f"^{name}: "):
        Settings.from_environment({name: value})


def test_every_setting_is_explained() -> None:
    guide = (ROOT / "docs/api.md").read_text(encoding="utf-8")
    told = dict(re.findall(r"^\| `(CROSSPIN_[A-Z_]+)` \| ([^|]*) \|", guide, flags=re.MULTILINE))
    assert told == {
        f"CROSSPIN_{field.name.upper()}": f"{field.default}" if field.default != "" else "none"
        for field in fields(Settings)
    }
