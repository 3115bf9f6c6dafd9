"""The mounted catalogue is listed: what is in force, what is quarantined and why, by kind and text, in pages."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.exchange.catalogue import load_catalogue
from rules.rulebook.loader import base_request

HOLDER, COLLET, CUTTER = base_request("nut_collet")["stack"]["components"]
MACHINE = base_request("press_in")["machine"]
DRILLS = 40


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory, assessor: Assessor, client_with: Callable[[Any], Any]) -> Any:
    """The service with forty drills, of which one is there twice, a wrong collet, a holder and a machine."""
    folder = tmp_path_factory.mktemp("parts")
    parts: dict[str, Any] = {f"D-{number:02}": CUTTER | {"id": f"D-{number:02}"} for number in range(DRILLS)}
    parts |= {"H": HOLDER | {"description": "Long chuck"}, "C": COLLET | {"mass_kg": -1}, "M": MACHINE}
    (folder / "parts.json").write_text(json.dumps(parts))
    (folder / "again.json").write_text(json.dumps({"D-07": CUTTER | {"id": "D-07"}}))
    return client_with(Assessor(assessor.book, load_catalogue(folder)))


def _items(client: Any, query: str = "") -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = client.get(f"/v1/catalogue?limit=500{query}").json()["items"]
    return items


def test_every_part_is_listed_with_what_it_is(client: Any) -> None:
    """Key, kind and label; a part that no stack can use has its reason, and so have both of two with one key."""
    items = _items(client)
    by_key: dict[str, list[dict[str, Any]]] = {}
    for one in items:
        by_key.setdefault(one["key"], []).append(one)
    assert len(items) == DRILLS + 4
    assert by_key["H"] == [
        {"key": "H", "revision": None, "kind": "base_holder", "label": "Long chuck", "quarantined": None}
    ]
    assert [one["kind"] for one in by_key["M"]] == ["machine"]
    (collet,) = by_key["C"]
    assert (collet["kind"], collet["label"]) == (None, None)
    assert "mass_kg" in collet["quarantined"]
    assert len(by_key["D-07"]) == 2
    assert all("neither can be used" in one["quarantined"] for one in by_key["D-07"])
    assert sum(one["quarantined"] is not None for one in items) == 3


@pytest.mark.parametrize(
    ("query", "keys"),
    [
        ("&kind=base_holder", ["H"]),
        ("&kind=machine", ["M"]),
        ("&contains=LONG", ["H"]),
        ("&kind=cutter&contains=d-1", [f"D-{number}" for number in range(10, 20)]),
        ("&contains=nothing", []),
    ],
)
def test_kind_and_text_choose(client: Any, query: str, keys: list[str]) -> None:
    """Both together; text in key or label, in any case."""
    assert [one["key"] for one in _items(client, query)] == keys


@pytest.mark.parametrize("limit", [1, 7, 500])
def test_pages_meet_and_do_not_overlap(client: Any, limit: int) -> None:
    """Followed to the end, the pages are the whole list, filter included."""
    address, pages = f"/v1/catalogue?kind=cutter&limit={limit}", []
    while address:
        page = client.get(address).json()
        assert len(page["items"]) <= limit
        pages += page["items"]
        address = page["next"]
    assert pages == _items(client, "&kind=cutter")
    assert len(pages) == page["total"]


@pytest.mark.parametrize("query", ["limit=0", "limit=501", "offset=-1", "limit=many", f"kind={'x' * 65}"])
def test_what_is_no_query_is_refused(client: Any, query: str) -> None:
    """With the name of the parameter."""
    answer = client.get(f"/v1/catalogue?{query}")
    assert (answer.status_code, answer.json()["code"]) == (422, "invalid-request")
    assert query.split("=")[0] in answer.text


def test_without_a_catalogue_the_list_is_empty(assessor: Assessor, client_with: Callable[[Any], Any]) -> None:
    """No digest, no items."""
    answer = client_with(Assessor(assessor.book)).get("/v1/catalogue").json()
    assert answer == {"catalogue_sha256": None, "total": 0, "items": [], "next": None}
