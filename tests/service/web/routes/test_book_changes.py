"""A book with prices to come, behind the whole service: one change, for every kind of answer at the same moment."""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx2
import pytest
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.book.loader import demo_folder, load_timetable
from featherline_service.book.timetable import Timetable
from featherline_service.questions.recipe.evidence.solved import SOLVERS
from featherline_service.runtime import cache
from featherline_service.settings import Settings
from featherline_service.signatures import temporary_keys
from featherline_service.web.routes.seals import Seals

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
ORDER = (EXAMPLES / "quote-request.json").read_bytes()
LINE = b'{"kind":"quote","request":%b}\n' % json.dumps(json.loads(ORDER)).encode()
CHANGE = datetime(2027, 1, 1, tzinfo=UTC)
BEFORE, AFTER = "9.90", "11.90"
LIFETIME = timedelta(days=30)
JSON, LINES = "application/json", "application/jsonl"


class Service:
    """The service with a clock that stands, just before the change, until it is set."""

    def __init__(self, timetable: Timetable) -> None:
        self.now = CHANGE - timedelta(seconds=1)
        self.old, self.new = (book.revision for book in timetable.books)
        seals = Seals(temporary_keys(), LIFETIME, lambda: self.now)
        self._app = create_app(Settings(), timetable, seals, clock=self.seconds)

    def seconds(self) -> float:
        """Return what the clock says."""
        return self.now.timestamp()

    def ask(self, path: str, body: bytes | None = None, **headers: str) -> httpx2.Response:
        """Return the answer to a request."""

        async def run() -> httpx2.Response:
            transport = httpx2.ASGITransport(self._app)
            async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
                named = {name.replace("_", "-"): value for name, value in headers.items()}
                return await client.request("GET" if body is None else "POST", path, content=body, headers=named)

        with capture_logs():
            return asyncio.run(run())

    def quote(self, **headers: str) -> dict[str, Any]:
        """Return the quote of the order."""
        quote: dict[str, Any] = self.ask("/v1/quotes", ORDER, content_type=JSON, **headers).json()
        return quote


@pytest.fixture(scope="module")
def timetable(tmp_path_factory: pytest.TempPathFactory) -> Timetable:
    """Return the demo book, whose price at the counter rises with the new year."""
    folder = tmp_path_factory.mktemp("new-year")
    prices = (demo_folder() / "policies" / "policies.toml").read_text("utf-8")
    (folder / "policies").mkdir()
    (folder / "policies" / "policies.toml").write_text(prices.replace(BEFORE, AFTER), "utf-8")
    (folder / "book.toml").write_text('mode = "overlay"\nvalid_from = 2027-01-01T01:00:00+01:00\n')
    return load_timetable([folder])


@pytest.fixture
def service(timetable: Timetable) -> Service:
    """Return the service just before the change."""
    return Service(timetable)


def priced(quote: dict[str, Any]) -> tuple[str, str, str | None]:
    """Return the price of a quote, the revision that it is by, and until when that is in force."""
    return quote["price"]["total"]["amount"], quote["book"], quote["book_until"]


def test_prices_change_at_an_instant(service: Service) -> None:
    """Before it the answer has the old price and says until when; from it on the new one, cached or not."""
    for _ in range(2):
        assert (BEFORE, service.old, "2027-01-01T00:00:00Z") == priced(service.quote())
    service.now = CHANGE
    for _ in range(2):
        assert (AFTER, service.new, None) == priced(service.quote())


def test_a_cart_keeps_its_prices(service: Service) -> None:
    """Who names the old revision has the old price after the change, alone, in bulk, as a card and for a roster."""
    service.now = CHANGE + timedelta(days=1)
    pin = {"book_revision": service.old}
    assert (BEFORE, service.old, "2027-01-01T00:00:00Z") == priced(service.quote(**pin))
    assert (AFTER, service.new, None) == priced(service.quote())
    line = json.loads(service.ask("/v1/bulk", LINE, content_type=LINES, **pin).content)
    assert (BEFORE, service.old, "2027-01-01T00:00:00Z") == priced(line["answer"])
    roster = service.ask("/v1/rosters", (EXAMPLES / "roster-request.json").read_bytes(), content_type=JSON, **pin)
    assert service.old == roster.json()["book"]
    page = service.ask("/v1/quotes", ORDER, content_type=JSON, accept="text/html", **pin)
    assert f"{BEFORE}" in page.text
    assert (service.old, "Fri, 01 Jan 2027 00:00:00 GMT") == (page.headers["book-revision"], page.headers["book-until"])


def test_a_price_of_the_old_revision_is_sealed_no_longer_than_at_its_end(service: Service) -> None:
    """A seal ends with those of the revision's last moment, thirty days after the change."""
    service.now = CHANGE + timedelta(days=10)
    old, new = (service.quote(**pin)["seal"]["expires"] for pin in ({"book_revision": service.old}, {}))
    assert CHANGE + LIFETIME == datetime.fromisoformat(old)
    assert service.now + LIFETIME == datetime.fromisoformat(new)


def test_a_stream_has_one_revision(service: Service) -> None:
    """Lines that arrive after the change are answered by the revision with which their stream began."""

    async def lines() -> Any:  # noqa: ANN401 - an asynchronous generator
        yield LINE
        service.now = CHANGE
        yield LINE.replace(b'"MARLOW', b'"TIDE')

    answers = service.ask("/v1/bulk", lines(), content_type=LINES)  # type: ignore[arg-type]
    first, second = map(json.loads, answers.content.splitlines())
    assert {service.old} == {first["answer"]["book"], second["answer"]["book"], answers.headers["book-revision"]}
    assert service.new == service.quote()["book"]


def test_a_revision_that_is_gone_is_refused_by_name(service: Service) -> None:
    """From thirty days after the change on, and before the change for the new one: 409, and what to do next."""
    service.now = CHANGE + timedelta(days=30)
    gone = service.ask("/v1/quotes", ORDER, content_type=JSON, book_revision=service.old)
    assert (409, "urn:featherline:problem:no-such-revision") == (gone.status_code, gone.json()["type"])
    assert "Ask again without Book-Revision" in gone.json()["detail"]
    service.now = CHANGE - timedelta(seconds=1)
    early = service.ask("/v1/bulk", LINE, content_type=LINES, book_revision=service.new)
    assert (409, 409) == (early.status_code, service.ask("/v1/book", book_revision=service.new).status_code)


def test_the_book_lists_its_revisions(service: Service) -> None:
    """Which there are, when, what changes, and until when a request may name them; its ETag follows."""
    told = service.ask("/v1/book")
    before, after = told.json()["revisions"]
    assert (service.old, "in-force", None, "2027-01-01T00:00:00Z", "2027-01-31T00:00:00Z") == (
        before["revision"], before["state"], before["since"], before["until"], before["pinned_until"],
    )  # fmt: skip
    assert (service.new, "to-come", "2027-01-01T00:00:00Z", None, None) == (
        after["revision"], after["state"], after["since"], after["until"], after["pinned_until"],
    )  # fmt: skip
    assert ["policies"] == [shelf["kind"] for shelf in after["changes"]]
    assert "counter" in after["changes"][0]["ids"]
    service.now = CHANGE
    changed = service.ask("/v1/book", if_none_match=told.headers["etag"])
    assert (200, ["superseded", "in-force"]) == (
        changed.status_code,
        [revision["state"] for revision in changed.json()["revisions"]],
    )
    assert 304 == service.ask("/v1/book", if_none_match=changed.headers["etag"]).status_code


def test_records_are_those_of_the_revision(service: Service) -> None:
    """A cached copy holds until the change and no longer; who names the old revision reads the old record."""
    path = "/v1/book/policies/counter"
    old = service.ask(path)
    assert ("Accept-Encoding, Book-Revision", 304) == (
        old.headers["vary"],
        service.ask(path, if_none_match=old.headers["etag"]).status_code,
    )
    service.now = CHANGE
    new = service.ask(path, if_none_match=old.headers["etag"])
    assert (BEFORE, AFTER) == tuple(each.json()["record"]["floor_per_pair"]["amount"] for each in (old, new))
    assert 304 == service.ask(path, if_none_match=old.headers["etag"], book_revision=service.old).status_code


def test_health_and_metrics_tell_of_the_change(service: Service) -> None:
    """Which revision is in force and which is to come, and when; after the change no change is known."""
    assert service.old == service.ask("/health/ready").json()["book"]
    page = service.ask("/metrics").text
    assert f'featherline_book_revision_info{{revision="{service.old}",state="in-force"}} 1.0' in page
    assert f'featherline_book_revision_info{{revision="{service.new}",state="to-come"}} 1.0' in page
    (change,) = re.findall(r"(?m)^featherline_book_change_time_seconds (\S+)$", page)
    assert CHANGE.timestamp() == float(change)
    service.now = CHANGE
    assert service.new == service.ask("/health/ready").json()["book"]
    page = service.ask("/metrics").text
    assert f'featherline_book_revision_info{{revision="{service.new}",state="in-force"}} 1.0' in page
    assert 'state="to-come"' not in page
    assert "\nfeatherline_book_change_time_seconds" not in page


@pytest.fixture
def emptied() -> Iterator[None]:
    """Empty the cache of computed values before and after."""
    cache.clear()
    yield
    cache.clear()


@pytest.mark.usefixtures("emptied")
def test_prices_change_without_new_recipes(service: Service) -> None:
    """A change of prices alone leaves the pressing of every stack computed; both revisions share it."""
    service.quote()

    def solved() -> int:
        return sum(use.computed for name, use in cache.statistics().items() if name in SOLVERS)

    before = solved()
    assert before
    service.now = CHANGE
    assert AFTER == priced(service.quote())[0]
    assert before == solved()


def checked(service: Service, seal: str, **asked: object) -> Any:  # noqa: ANN401 - JSON
    """Return the check of a seal, asked what would be answered today."""
    body = json.dumps({"seal": seal, "today": True, **asked}).encode()
    return service.ask("/v1/seals/check", body, content_type=JSON).json()


def test_a_check_says_what_would_be_answered_today(service: Service) -> None:
    """Its status stays what it is; before the change nothing has changed, and after it the price is another."""
    seal = service.quote()["seal"]["text"]
    before = checked(service, seal)
    service.now = CHANGE + timedelta(days=9)
    after = checked(service, seal)

    assert ["valid", "valid"] == [check["status"] for check in (before, after)]
    assert ("unchanged", BEFORE, service.old) == (
        before["today"]["kind"], before["today"]["total"]["amount"], before["today"]["book"],
    )  # fmt: skip
    assert ("changed", AFTER, "ready", service.new) == (
        after["today"]["kind"], after["today"]["total"]["amount"], after["today"]["verdict"], after["today"]["book"],
    )  # fmt: skip
    assert after["today"]["sentence"].endswith("today it would be 11.90 EUR (ready), and was 9.90 EUR (ready).")


def test_what_did_not_change_with_the_book_is_told_to_be_the_same(service: Service) -> None:
    """By another policy the order has the price that it had; of an expired seal it is told, too."""
    order = json.loads(ORDER) | {"policy": "club"}
    quote = service.ask("/v1/quotes", json.dumps(order).encode(), content_type=JSON).json()
    service.now = CHANGE + timedelta(days=99)
    check = checked(service, quote["seal"]["text"])

    assert ("expired", "unchanged", quote["price"]["total"]) == (
        check["status"], check["today"]["kind"], check["today"]["total"],
    )  # fmt: skip
    assert "The book has changed, and the answer would be the same." == check["today"]["sentence"]


def test_a_check_tells_nothing_more_where_the_seal_is_not_taken_or_nobody_asks(service: Service) -> None:
    """A tampered one says nothing of today, and neither does a check that does not ask."""
    seal = service.quote()["seal"]["text"]
    swapped = checked(service, seal, order=json.loads(ORDER) | {"pairs": 9})
    plain = service.ask("/v1/seals/check", json.dumps({"seal": seal}).encode(), content_type=JSON).json()

    assert [("tampered", None), ("valid", None)] == [(check["status"], check["today"]) for check in (swapped, plain)]


def test_a_picture_is_drawn_by_the_book_in_force(service: Service) -> None:
    """Its address is read after a change, too."""
    asked = json.dumps({"order": json.loads(ORDER)}).encode()
    address = service.ask("/v1/pictures", asked, content_type=JSON).json()["pictures"][0]["address"]["svg"]
    before = service.ask(address)
    service.now = CHANGE + timedelta(days=9)

    assert (200, before.content) == ((after := service.ask(address)).status_code, after.content)
