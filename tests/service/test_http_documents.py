"""Rules, couplings and the contract are published with entity tags, for GET and HEAD alike."""

from __future__ import annotations

from typing import Any

import pytest

from rules.assessor import Assessor
from rules.couplings.sides import COUPLINGS
from rules.quantities.tables import read_table
from rules.version import VERSION
from service.operations.problems import KINDS
from tests.support.pages import parsed, words

PUBLISHED = [
    "/v1/rules",
    "/v1/rules/GRIP-010",
    "/v1/couplings",
    "/v1/couplings/steep_taper",
    "/openapi.json",
    "/problems",
    "/problems/not-found",
    "/version",
]


@pytest.mark.parametrize("path", PUBLISHED)
def test_a_known_document_is_not_sent_again(client: Any, path: str) -> None:
    """If-None-Match with the tag gives 304 without content, alone, in a list, weak or as a star."""
    first = client.get(path)
    etag = first.headers["etag"]
    assert first.status_code == 200
    assert first.headers["content-type"] == "application/json"
    for wanted in (etag, f'"x", {etag}', etag.removeprefix("W/"), "*"):
        again = client.get(path, if_none_match=wanted)
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", etag)
    for other in ('"x"', etag.strip('W/"')):
        assert client.get(path, if_none_match=other).content == first.content


@pytest.mark.parametrize("path", [*PUBLISHED, "/healthz", "/readyz"])
def test_head_is_get_without_content(client: Any, path: str) -> None:
    """HEAD gives status and headers of GET, the length among them, and no content."""
    named = {"X-Request-ID": "one for both", "Accept-Encoding": "identity"}
    got, head = client.request("GET", path, headers=named), client.request("HEAD", path, headers=named)
    assert head.content == b""
    assert (head.status_code, head.headers) == (got.status_code, got.headers)
    assert int(head.headers["content-length"]) == len(got.content)


@pytest.mark.parametrize("path", ["/v1/rules", "/v1/couplings", "/problems"])
def test_a_list_has_items_and_the_next_page(client: Any, path: str) -> None:
    """Whole lists today; a client that follows `next` will read longer ones."""
    listed = client.get(path).json()
    assert set(listed) - {"rulebook_sha256"} == {"items", "next"}
    assert listed["items"]
    assert listed["next"] is None


def test_every_problem_type_is_listed_and_has_a_page(client: Any) -> None:
    """The list holds what each answers alone; a browser gets a page with the same words."""
    listed = client.get("/problems").json()["items"]
    assert [one["code"] for one in listed] == list(KINDS)
    for one in listed:
        assert client.get(f"/problems/{one['code']}").json() == one
        page = client.get(f"/problems/{one['code']}", accept="text/html")
        assert page.headers["content-type"] == "text/html; charset=utf-8"
        shown = words(parsed(page.text))
        assert all(text in shown for text in (one["type"], one["title"], one["remedy"], str(one["status"])))


def test_documents_have_tags_of_their_own(client: Any) -> None:
    """Different content has a different tag."""
    tags = {client.get(path).headers["etag"] for path in PUBLISHED}
    assert len(tags) == len(PUBLISHED)


def test_every_rule_is_listed_and_explained(client: Any, assessor: Assessor) -> None:
    """The list names the rules in force in their order, and each answers with all it has to say."""
    listed = client.get("/v1/rules").json()
    assert listed["rulebook_sha256"] == assessor.book.digest
    assert [one["code"] for one in listed["items"]] == [rule.code for rule in assessor.book.rules]
    for rule, short in zip(assessor.book.rules, listed["items"], strict=True):
        told = client.get(f"/v1/rules/{rule.code}").json()
        assert {name: told[name] for name in short} == short
        assert told["revision"] == assessor.book.revisions.get(rule.book)
        assert (told["why"], told["remedy"], told["source"]) == (rule.why, rule.remedy, rule.source)
        assert [need["name"] for need in told["needs"]] == list(rule.needs)
        assert {one["name"]: one["value"] for one in told["thresholds"]} == {
            name: threshold.value for name, threshold in rule.thresholds.items()
        }


def test_a_rule_has_a_digest_that_follows_its_content(client: Any, assessor: Assessor) -> None:
    """Rules differ, so their digests do; another threshold is another rule, another place in the book is not."""
    listed = client.get("/v1/rules").json()["items"]
    assert len({one["sha256"] for one in listed}) == len(listed)
    rule = assessor.book.rule("GRIP-080")
    shown = {one["code"]: one["sha256"] for one in listed}["GRIP-080"]
    assert rule.model_copy(update={"line": rule.line + 1}).digest == shown
    changed = rule.thresholds | {"least_safety": rule.thresholds["least_safety"].model_copy(update={"value": 1.9})}
    assert rule.model_copy(update={"thresholds": changed}).digest != shown


def test_every_coupling_is_explained_with_its_tables(client: Any) -> None:
    """Each coupling answers with the rows behind it, each row with source and confidence."""
    listed = client.get("/v1/couplings").json()["items"]
    assert [one["name"] for one in listed] == list(COUPLINGS)
    for one in listed:
        told = client.get(f"/v1/couplings/{one['name']}").json()
        assert {name: told[name] for name in one} == one
        for published in told["tables"]:
            table = read_table(published["name"])
            assert len(published["rows"]) == len(table.rows)
            assert all(row["source"] and row["confidence"] for row in published["rows"])
            assert published["columns"].keys() == table.columns.keys()


def test_the_coupling_answer_leaves_nothing_out(client: Any) -> None:
    """Whatever the definition of a coupling says is published, but for the words of the work instruction."""
    told = client.get("/v1/couplings/steep_taper").json()
    assert set(COUPLINGS["steep_taper"].described.model_dump()) - {"seat", "instruction"} <= told.keys()


def test_version_names_service_and_rules(client: Any, assessor: Assessor) -> None:
    """Who compares two answers can see by which rules they were given."""
    told = client.get("/version").json()
    assert (told["service"], told["version"]) == ("stackgauge", VERSION)
    assert told["rulebook_sha256"] == assessor.book.digest
    assert set(told["rulebooks"]) == {rule.book for rule in assessor.book.rules}


@pytest.mark.parametrize("path", ["/healthz", "/readyz"])
def test_health_is_told(client: Any, path: str) -> None:
    """Alive and ready."""
    assert client.get(path).json() == {"status": "ok"}
