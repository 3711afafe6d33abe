"""A shop's own rules: installed as a package, held to the laws, used by a running service."""

from __future__ import annotations

import base64
import subprocess
import sys
from pathlib import Path
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from featherline import Client, RequestRefused, ServiceFault
from featherline.wire import (
    Centred,
    FileArtwork,
    Film,
    FitRequest,
    Order,
    Plugin,
    QuoteAnswer,
    RecordAnswer,
    Roster,
    Source,
    TextArtwork,
)

pytestmark = pytest.mark.slow

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
ORDER = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)
ROSTER = msgspec.json.decode((EXAMPLES / "roster-request.json").read_bytes(), type=Roster)
RINGS = base64.b64encode(b"0,0 20,0 20,10 0,10\n5,2 15,2 10,8\n").decode()

Service = Any


@pytest.fixture(scope="module")
def client(service: Service) -> Any:  # noqa: ANN401 - a client, and closed
    """A client of the service."""
    with Client(service.url, attempts=1) as client:
        yield client


def marked(text: str, colour: str = "gorse", *, policy: str = "regatta-club") -> Order:
    """Return the example order with another text and colour, priced for the club."""
    (placement,) = ORDER.placements
    assert isinstance(placement.artwork, TextArtwork)
    artwork = replace(placement.artwork, text=text)
    return replace(ORDER, placements=(replace(placement, artwork=artwork, colour=colour),), policy=policy)


def test_the_package_passes_the_tests_of_its_author(environment: dict[str, str]) -> None:
    """The package's own tests, with the laws in them, pass where it is installed."""
    own = Path(__file__).parent / "saltmarsh_rules" / "tests"
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-c", "/dev/null", str(own)]
    # Without the plug-ins of pytest that are installed for other tests, which take seconds to import.
    alone = environment | {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    done = subprocess.run(command, env=alone, cwd=own, capture_output=True, text=True, check=False)
    assert 0 == done.returncode, done.stdout
    assert " passed" in done.stdout


def test_the_book_lists_the_plugins(client: Client) -> None:
    """It lists every plug-in with its kind, distribution and version."""
    own = [each for each in client.book().plugins if each.distribution == "saltmarsh-rules"]
    assert [
        Plugin(name=name, kind=kind, distribution="saltmarsh-rules", version="0.3.0")  # type: ignore[arg-type]
        for name, kind in (
            ("regatta-club", "price-policy"),
            ("supplier-list", "record-source"),
            ("ring-files", "artwork-reader"),
            ("club-colours", "check"),
        )
    ] == own


def test_the_suppliers_price_is_in_the_book_and_in_the_cost(client: Client) -> None:
    """The film has the list's price with its source, and an order's film is priced by it."""
    film: RecordAnswer[Film] = client.record(Film, "smooth")
    assert "195.00" == film.record.roll.price.amount
    (cite,) = (each for each in film.record.cites if "roll.price" in each.values)
    assert ("supplier-list-12", "SQ-104") == (cite.source, cite.at)
    assert "invented" == client.record(Source, "supplier-list-12").record.kind
    stored = msgspec.json.decode((EXAMPLES / "quote-answer.json").read_bytes(), type=QuoteAnswer)
    before, after = (rate(quote) for quote in (stored, client.quote(ORDER)))
    assert 195 / 180 == pytest.approx(after / before)


def rate(quote: QuoteAnswer) -> float:
    """Return what a square centimetre of film costs in a quote."""
    assert quote.cost is not None
    return next(float(line.rate) for line in quote.cost.lines if line.origin == "films/smooth")


def test_the_club_is_charged_by_its_own_price(client: Client) -> None:
    """The club's policy prices an order, and each row of a roster."""
    quote = client.quote(marked("MARLOW\n7"))
    assert quote.price is not None
    assert quote.cost is not None
    assert ("regatta-club", ["cost", "club"]) == (quote.price.policy, [step.what for step in quote.price.why])
    assert float(quote.cost.total.amount) * 1.5 == pytest.approx(float(quote.price.total.amount), abs=0.05)
    answer = client.roster(replace(ROSTER, order=replace(ROSTER.order, policy="regatta-club")))
    assert answer.price is not None
    rows = [float(row.price.total.amount) for row in answer.rows if row.price is not None]
    assert sum(rows) == pytest.approx(float(answer.price.total.amount))


def test_a_ring_file_is_marked_like_a_drawing(client: Client) -> None:
    """The area is that of the ring less its hole, at the height asked for."""
    request = FitRequest(
        shoe=ORDER.shoe,
        panel="outer-quarter",
        film="smooth",
        artwork=FileArtwork(media_type="text/x-saltmarsh-rings", base64=RINGS, height="10 mm"),
        pose=Centred(),
    )
    fit = client.fit(request).fit
    assert (20.0, 10.0) == (fit.artwork.width_mm, fit.artwork.height_mm)
    assert 20 * 10 - 10 * 6 / 2 == pytest.approx(fit.artwork.area_mm2)
    with pytest.raises(RequestRefused) as told:
        client.fit(replace(request, artwork=FileArtwork(media_type="text/x-rings", base64=RINGS, height="10 mm")))
    (fault,) = told.value.faults
    assert "/artwork/media_type" == fault.pointer
    assert "they read: text/x-saltmarsh-rings, text/x-spill" in fault.detail


def test_the_clubs_colours_are_kept(client: Client) -> None:
    """The club's check declines another colour, and points at it."""
    quote = client.quote(marked("MARLOW\n7", "buoy"))
    reason = next(each for each in quote.reasons if each.code == "club-colours.other")
    assert ("decline", "decline", "/placements/0/colour") == (quote.verdict, reason.verdict, reason.subject)
    assert quote.price is None


@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("raises", "failed"),
        ("leaves", "failed"),
        ("short", "gave an answer that cannot be used"),
        ("loops", "did not end in time"),
    ],
)
def test_a_failing_price_policy_is_told_and_harms_nobody_else(
    name: str, what: str, service: Service, client: Client
) -> None:
    """The problem names the policy, the log says why, no other policy is used, and the service goes on."""
    with pytest.raises(ServiceFault) as told:
        client.quote(marked("MARLOW\n7", policy=name))
    assert told.value.problem is not None
    assert f"The price policy {name!r} of saltmarsh-leaks 0.1.0 {what}." in told.value.problem.detail
    assert "secret" not in str(told.value)
    assert told.value.problem.instance.endswith(service.failed(name)["request_id"])
    assert "ready" == client.quote(marked("MARLOW\n7")).verdict


def test_a_failing_check_and_reader_are_told(client: Client) -> None:
    """A failing check and a failing reader are named in the same way."""
    with pytest.raises(ServiceFault, match=r"The check 'leak' of saltmarsh-leaks 0\.1\.0 failed"):
        client.quote(marked("LEAK\n7"))
    request = FitRequest(
        shoe=ORDER.shoe,
        panel="outer-quarter",
        film="smooth",
        artwork=FileArtwork(media_type="text/x-spill", base64=RINGS, height="10 mm"),
    )
    with pytest.raises(ServiceFault, match=r"The artwork reader 'spills' of saltmarsh-leaks 0\.1\.0 gave an answer"):
        client.fit(request)
