"""The rating is fetched where its catalogue says, on the catalogue's own host and nowhere else."""

from __future__ import annotations

import json
from types import SimpleNamespace

import pytest

from planner.errors import GaugeReplyUnfit
from planner.gauges import ratings, transport

HOST = "https://api.waterdata.usgs.gov"


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch):
    """Addresses asked in order; the catalogue's answer is set by the test."""
    seen: list[str] = []
    answer = SimpleNamespace(body=b"", seen=seen)

    def ask(address: str, query: dict, **_: object) -> SimpleNamespace:
        seen.append(address)
        return SimpleNamespace(body=answer.body if len(seen) == 1 else b"# the rating")

    monkeypatch.setattr(transport, "ask", ask)
    monkeypatch.setenv("PLUMBRUN_USGS_STAC", f"{HOST}/stac/search")
    return answer


def catalogue(*addresses: str) -> bytes:
    """A reply that names files."""
    return json.dumps({"features": [{"assets": {"data": {"href": one}}} for one in addresses]}).encode()


def test_the_file_that_the_catalogue_names_is_fetched(asked) -> None:
    """Two questions: where it is, and the file itself."""
    there = f"{HOST}/files/USGS.01541000.exsa.rdb"
    asked.body = catalogue(f"{HOST}/files/USGS.01541303.exsa.rdb", f"{HOST}/files/01541000.json", there)
    assert ratings.get("usgs:01541000") == b"# the rating"
    assert asked.seen == [f"{HOST}/stac/search", there]


@pytest.mark.parametrize(
    "body",
    [
        catalogue("https://elsewhere.example/USGS.01541000.exsa.rdb"),
        catalogue("https://api.waterdata.usgs.gov.elsewhere.example/USGS.01541000.exsa.rdb"),
        catalogue("file:///etc/01541000.rdb"),
        catalogue(f"{HOST}/files/USGS.01541303.exsa.rdb"),
        catalogue(),
        b"<html>",
        b"[]",
        b'{"features": [{"assets": []}]}',
        b'{"features": null}',
    ],
    ids=["other host", "longer host", "a file of this machine", "other station", "none", "page", "list", "odd", "null"],
)
def test_no_other_host_is_asked_whatever_the_catalogue_says(asked, body: bytes) -> None:
    """A catalogue that names another place, another station or nothing is refused in words; nothing more is asked."""
    asked.body = body
    with pytest.raises(GaugeReplyUnfit, match="rating of station 01541000"):
        ratings.get("usgs:01541000")
    assert len(asked.seen) == 1
