"""The web shop of the examples as its customers use it: in the system's browser, asking a service that runs."""

from __future__ import annotations

import importlib
import threading
from collections.abc import Callable, Iterator, Mapping
from http.server import ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import pytest

from featherline import Client

if TYPE_CHECKING:
    from conftest import Counter
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.slow

EXAMPLE: Final = Path(__file__).parents[2] / "sdk" / "examples" / "web_shop"
ADDED: Final = "#lines li"


class Opened(NamedTuple):
    """The page of the shop, the service behind it, and the requests that the page sent to that."""

    page: Page
    service: Counter
    asked: list[str]


@pytest.fixture(scope="module")
def shop(
    tmp_path_factory: pytest.TempPathFactory, started: Callable[[Mapping[str, str]], Counter]
) -> Iterator[tuple[str, Counter]]:
    """Run the shop's server and its service as the demo does; return the shop's address, and the service."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(EXAMPLE)
        demo: Any = importlib.import_module("demo")
        server: Any = importlib.import_module("shop")
    folder = tmp_path_factory.mktemp("shop")
    with ThreadingHTTPServer(("127.0.0.1", 0), server.Handler) as listening:
        origin = f"http://127.0.0.1:{listening.server_port}"
        page, checkout, entries = demo.keys_for(origin)
        (folder / "keys.toml").write_text(entries)
        service = started({"FEATHERLINE_KEYS": str(folder / "keys.toml"), "FEATHERLINE_CORS_ORIGINS": origin})
        with Client(service.url, key=checkout) as client:
            open_shop = server.Shop(
                client, server.ForPage(service.url, page), audience="page", policy=demo.POLICY, currency="EUR"
            )
            serving = threading.Thread(target=server.serve, args=(listening, open_shop))
            serving.start()
            yield origin, service
            listening.shutdown()
            serving.join()


@pytest.fixture
def opened(browser: Browser, shop: tuple[str, Counter]) -> Iterator[Opened]:
    """Open the shop's page; at the end nothing was fetched from elsewhere, and no script had failed."""
    origin, service = shop
    with browser.new_context(viewport={"width": 360, "height": 800}, reduced_motion="reduce") as context:
        context.set_default_timeout(15_000)
        page = context.new_page()
        fetched: list[str] = []
        failed: list[str] = []
        page.on("request", lambda request: fetched.append(f"{request.method} {request.url}"))
        page.on("pageerror", lambda error: failed.append(str(error)))
        page.goto(f"{origin}/")
        page.wait_for_selector("#shoe option >> nth=0", state="attached")
        yield Opened(page, service, fetched)
    parts = [url.split(" ", 1)[1] for url in fetched]
    assert [] == [url for url in parts if not url.startswith((origin, f"blob:{origin}", service.url))]
    assert [] == failed


def says(page: Page, *words: str) -> None:
    """Wait until the answer has all of these words."""
    for word in words:
        page.locator("#answer", has_text=word).wait_for()


def choose(page: Page, **chosen: str) -> None:
    """Choose values of lists, by their ids."""
    for name, value in chosen.items():
        page.select_option(f"#{name}", value)


def findings(page: Page) -> list[str]:
    """Return what the rules of accessibility find on the page as it is."""
    from axe_playwright_python.sync_playwright import Axe  # noqa: PLC0415 - it reads half a megabyte of rules

    return [violation["id"] for violation in Axe().run(page).response["violations"]]


def deck_shoe(page: Page) -> None:
    """Choose the deck shoe and a smooth film, which are ready for a short text."""
    choose(page, shoe="regatta-deck")
    choose(page, size="42", panel="outer-quarter", film="smooth", font="plain", height="10 mm")
    choose(page, colour="gorse")


def test_a_name_is_bought_by_keyboard(opened: Opened) -> None:
    """Typed, priced with its picture, put into the basket and paid, without a mouse; one request of each kind."""
    page = opened.page
    deck_shoe(page)
    before = len(opened.asked)
    page.focus("#text")
    page.keyboard.type("EDDY", delay=20)
    says(page, "€")
    asked = [line for line in opened.asked[before:] if line.startswith("POST ")]
    assert [f"POST {opened.service.url}/v1/offers", f"POST {opened.service.url}/v1/pictures"] == sorted(asked)
    picture = page.locator("#picture")
    assert "“EDDY” in Gorse" in (picture.get_attribute("alt") or "")
    assert picture.evaluate("image => image.decode().then(() => image.naturalWidth > 0)")
    assert [] == findings(page)

    price = page.inner_text("#answer")
    while page.evaluate("document.activeElement.id") != "add":
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert "EDDY" in page.inner_text(ADDED)
    assert page.locator(f"{ADDED} img").evaluate("image => image.decode().then(() => image.naturalWidth > 0)")
    while page.evaluate("document.activeElement.id") != "buy":
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.locator("#paid", has_text="You pay").wait_for()
    paid = page.inner_text("#paid").removeprefix("You pay ").removesuffix(".")
    assert f"It costs {paid} a pair" in price
    assert [] == findings(page)


def test_a_swapped_line_is_not_paid(opened: Opened) -> None:
    """Whoever changes the order in the basket needs a new offer."""
    page = opened.page
    deck_shoe(page)
    page.fill("#text", "KEEL")
    says(page, "€")
    page.click("#add")
    changed = """body => JSON.stringify(JSON.parse(body).map(line => {
        line.order.placements[0].artwork.text = "SCHOONER"; return line; }))"""
    page.route("**/checkout", lambda route: route.continue_(post_data=page.evaluate(changed, route.request.post_data)))
    page.click("#buy")
    page.locator("#paid", has_text="add it again").wait_for()


def test_every_answer_is_said_in_the_readers_language(opened: Opened) -> None:
    """Too long and its cure, a trial, a decline, and a colour that is sold out: in words, in each of four languages."""
    page = opened.page
    deck_shoe(page)
    page.fill("#text", "MARLOW BYRNE")
    choose(page, height="20 mm")
    says(page, "cannot be done")
    assert "It does not fit there" in page.inner_text("#reasons")
    for language, declined, too_large in (("fr", "pas possible", "ne tient pas"), ("es", "se puede", "No cabe")):
        choose(page, language=language)
        says(page, declined)
        assert too_large in page.inner_text("#reasons")
    choose(page, language="de")
    says(page, "geht nicht")
    assert "passt dort nicht" in page.inner_text("#reasons")
    assert page.locator("#proposals button", has_text="€").count() > 0
    assert "de" == page.get_attribute("html", "lang")
    page.locator("#proposals button").first.click()
    says(page, "Das geht")
    page.locator("#picture[alt*='in Gorse']").wait_for()

    choose(page, shoe="ward-clog")
    says(page, "geht nicht")
    assert [] == findings(page)
    choose(page, language="en")

    def tried_first(route: Any) -> None:  # noqa: ANN401 - of the browser's driver, imported late
        answer = route.fetch()
        route.fulfill(response=answer, json=answer.json() | {"verdict": "trial"})

    page.route("**/v1/offers", tried_first)
    deck_shoe(page)
    says(page, "try that on a spare piece first")
    assert page.is_disabled("#add")


def test_a_colour_that_is_sold_out_is_named(opened: Opened) -> None:
    """The page's catalogue is older than the book: the colour is refused, and another is asked for."""
    page = opened.page
    deck_shoe(page)
    page.eval_on_selector("#colour", "list => { list.options[0].value = 'long-gone'; list.selectedIndex = 0; }")
    page.route(
        "**/v1/offers",
        lambda route: route.continue_(
            post_data=(route.request.post_data or "").replace('"colour":"', '"colour":"long-gone-')
        ),
    )
    page.fill("#text", "KEEL")
    says(page, "sold out")


def test_the_page_waits_and_asks_again(opened: Opened) -> None:
    """A key at its limit, a lost connection and a page that is loaded again lose nothing that was typed."""
    page = opened.page
    deck_shoe(page)
    refused: list[str] = []

    def refuse_once(route: Any) -> None:  # noqa: ANN401 - of the browser's driver, imported late
        if refused:
            route.continue_()
        else:
            refused.append(route.request.url)
            cors = {"Access-Control-Allow-Origin": "*", "Access-Control-Expose-Headers": "Retry-After"}
            route.fulfill(status=429, headers={"Retry-After": "1", **cors})

    page.route("**/v1/offers", refuse_once)
    page.fill("#text", "LUFF")
    page.locator("#connection", has_text="in 1 s").wait_for()
    says(page, "€")
    assert "" == page.inner_text("#connection")

    page.context.set_offline(True)
    page.fill("#text", "FENDER")
    page.locator("#connection", has_text="No connection").wait_for()
    page.context.set_offline(False)
    says(page, "€")
    page.reload()
    says(page, "€")
    assert ("FENDER", "regatta-deck") == (page.input_value("#text"), page.input_value("#shoe"))


@pytest.mark.parametrize("width", [360, 1440])
def test_nothing_is_cut_off(opened: Opened, width: int) -> None:
    """On a phone and on a large screen no text or picture is wider than the page."""
    page = opened.page
    page.set_viewport_size({"width": width, "height": 900})
    deck_shoe(page)
    page.fill("#text", "MARLOW")
    says(page, "€")
    for language, word in (("fr", "coûte"), ("es", "Cuesta"), ("de", "kostet"), ("en", "costs")):
        choose(page, language=language)
        says(page, word)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), language
