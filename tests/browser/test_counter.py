"""The counter's page as people use it: in the system's browser, asking a service that runs."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Final
from xml.etree import ElementTree as ET

import pytest

from featherline_service.web.server.caller_keys import mint

if TYPE_CHECKING:
    from conftest import Counter
    from playwright.sync_api import Page, Request

pytestmark = pytest.mark.slow

Open = Callable[..., "Page"]

READY, TRIAL, DECLINE = "ready", "trial", "decline"
PHOTOS: Final = Path(__file__).parents[1] / "service" / "tracing" / "photos"
ANCHOR: Final = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 40"><path d="M16 2h8v8h10v7H24v13h-8V17H6v-7h10z"/></svg>'
)
NAMES: Final = [
    "MARLOW",
    "TIDEWAY",
    "EDDY",
    "HALYARD",
    "KEEL",
    "LUFF",
    "BOWLINE",
    "FENDER",
    "BRINE",
    "HAVEN",
    "JETTY",
    "LOCKE",
    "MAST",
    "OAKUM",
    "QUAY",
    "RUDDER",
    "SHOAL",
]
CUT_OFF: Final = """() => [document.documentElement, ...document.querySelectorAll(
    "button, label, legend, summary, h1, h2, h3, dt, dd, p, li, a")]
    .filter((part) => part.clientWidth > 1 && part.scrollWidth > part.clientWidth + 1)
    .map((part) => part.outerHTML.slice(0, 200))"""
"""What is wider than its room, but for what only a screen reader sees."""
DROP: Final = """([name, type, text, selector]) => {
    const data = new DataTransfer();
    data.items.add(new File([text], name, { type }));
    document.querySelector(selector).dispatchEvent(
        new DragEvent("drop", { dataTransfer: data, bubbles: true, cancelable: true }));
}"""


def verdict(page: Page, wanted: str) -> None:
    """Wait until the board has answered what was asked last, with a verdict."""
    page.wait_for_selector(f"#answer[data-state=answered][data-verdict={wanted}]")


def tab_to(page: Page, element: str, most: int = 60) -> None:
    """Go on by the tabulator until an element has the focus."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == element:
            return
    pytest.fail(f"The keyboard does not reach {element}")


def type_into(page: Page, element: str, text: str) -> None:
    """Go to a field by the keyboard and type."""
    tab_to(page, element)
    page.keyboard.type(text)


def drop(page: Page, name: str, media_type: str, text: str, onto: str = "body") -> None:
    """Drop a file."""
    page.evaluate(DROP, [name, media_type, text, onto])


def accessible(page: Page) -> None:
    """Hold a page to the rules of axe, by its own list, at the levels A and AA of WCAG 2.2 and its best practices."""
    from axe_playwright_python.sync_playwright import Axe  # noqa: PLC0415 - a script of a megabyte

    found = Axe().run(page).response["violations"]
    assert [] == [(rule["id"], [node["html"][:200] for node in rule["nodes"]][:3]) for rule in found]


def printed(page: Page, act: Callable[[], None]) -> list[str]:
    """Return the text of each page of the card that an act saves."""
    from pypdf import PdfReader  # noqa: PLC0415 - only here

    with page.expect_download() as download:
        act()
    return [each.extract_text() for each in PdfReader(io.BytesIO(download.value.path().read_bytes())).pages]


def walk_in(page: Page, *, surface: bool) -> None:
    """Say by the keyboard that a leather shoe was brought in, and what the ruler measures on it."""
    tab_to(page, "kind-book")
    page.keyboard.press("ArrowRight")
    tab_to(page, "label-leather")
    page.keyboard.press("Space")
    if surface:
        tab_to(page, "surface")
        page.keyboard.press("ArrowDown")
    type_into(page, "inside", "275")
    type_into(page, "width-0", "90")
    type_into(page, "height-0", "40")
    type_into(page, "text-0", "MARLOW")


def test_a_walk_in_is_checked_by_keyboard_alone(opened: Open) -> None:
    """From the tongue label to the printed card, a trial's on one page; verdict and price are said once."""
    page = opened("en")
    page.evaluate(
        "heard = []; new MutationObserver(() => heard.push(document.getElementById('spoken').textContent))"
        ".observe(document.getElementById('spoken'), { childList: true, characterData: true, subtree: true })"
    )
    walk_in(page, surface=True)
    verdict(page, TRIAL)
    assert "Try it first" == page.inner_text("#verdict")
    assert re.fullmatch(r"€[0-9]+\.[0-9]{2} the pair, before tax", page.inner_text("#price"))
    page.wait_for_selector("#pictures img")
    assert "“MARLOW” in Gorse" in (page.get_attribute("#pictures img", "alt") or "")
    page.wait_for_selector("#spoken:has-text('Try it first')", state="attached")
    assert ["Try it first"] == [text[:12] for text in page.evaluate("heard") if "€" in text]

    tab_to(page, "card")
    (card,) = printed(page, lambda: page.keyboard.press("Enter"))
    assert all(words in card for words in ("MARLOW", "Try it first", "160 °C", "Cautions", "Trial seen by"))
    accessible(page)


def test_a_shoe_of_the_book_takes_two_films(opened: Open) -> None:
    """A name in one film and a number in another are two pressings; in German, Spanish and French, on a telephone."""
    page = opened("de", 360, 740)
    page.select_option("#book-shoe", "regatta-deck")
    page.fill("#size", "42")
    page.fill("#text-0", "MARLOW")
    page.click("#mark-more")
    page.fill("#text-1", "7")
    page.fill("#height-m1", "24")
    page.select_option("#film-1", "flock")
    page.check("#colour-m1-chalk")
    verdict(page, READY)

    assert "Kann gepresst werden" == page.inner_text("#verdict")
    assert re.fullmatch(r"[0-9]+,[0-9]{2}\s€ das Paar, ohne Steuer", page.inner_text("#price"))
    assert 2 == page.locator("#bench .pressing").count()
    page.wait_for_selector("#pictures img:nth-child(2)")
    page.check("#backing-0")
    page.wait_for_selector("#border-0")
    assert "gorse" != page.locator("[name=backing-colour-0]:checked").get_attribute("value")
    page.uncheck("#backing-0")
    for language, said in (("es", "Listo para prensar"), ("fr", "Prêt à presser"), ("de", "Kann gepresst werden")):
        page.select_option("#lang", language)
        page.wait_for_selector(f"html[lang={language}] #verdict:has-text('{said}')")
        verdict(page, READY)
        assert [] == page.evaluate(CUT_OFF), language
        for size in ("200%", ""):
            page.evaluate("size => { document.documentElement.style.fontSize = size; }", size)
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), language
    assert page.inner_text("#bar").startswith("Kann gepresst werden")
    accessible(page)
    sheets = []
    for number in (0, 1):
        with page.expect_download() as saved:
            page.click(f"#cut-{number}")
        sheets.append(ET.fromstring(Path(saved.value.path()).read_text("utf-8")))  # noqa: S314 - our own
    assert [1, 1] == [len(sheet.findall("{*}g")) for sheet in sheets]
    assert 2 == len({sheet.findall("{*}g")[0].attrib["id"] for sheet in sheets})
    assert [True, True] == [
        sheet.attrib["width"] == f"{float(sheet.attrib['viewBox'].split()[2]):.3f}mm" for sheet in sheets
    ]


def test_a_name_too_long_is_mended_by_a_button(opened: Open) -> None:
    """The button sets what the answer names, and the marking can be pressed; its card has one page."""
    page = opened("en")
    page.select_option("#book-shoe", "regatta-deck")
    page.fill("#size", "42")
    page.check("#place-0-heel")
    page.fill("#height-m0", "12")
    page.fill("#text-0", "MARLOW")
    verdict(page, DECLINE)
    assert page.is_visible('[data-mend="/artwork/letter_height"]')
    proposal = page.locator("[data-proposal=ready]").first
    proposal.wait_for()
    assert re.search(r"€[0-9]+\.[0-9]{2}", proposal.inner_text())
    proposal.click()
    verdict(page, READY)

    assert 12 > float(page.input_value("#height-m0")) > 9
    assert "verdict" == page.evaluate("document.activeElement.id")
    (card,) = printed(page, lambda: page.click("#card"))
    assert "Ready" in card


def test_a_drawing_is_dropped(opened: Open) -> None:
    """A drawing takes the text's place on the mark that it is dropped on; what cannot be read is said where it is."""
    page = opened("en")
    page.select_option("#book-shoe", "regatta-deck")
    page.fill("#size", "42")
    drop(page, "anchor.svg", "image/svg+xml", ANCHOR, "[data-mark]")
    page.fill("#height-m0", "20")
    verdict(page, READY)
    assert "anchor.svg" in page.inner_text("#text-0")

    page.fill("#size", "4711")
    page.wait_for_selector("#size[aria-invalid=true]")
    assert page.inner_text("#size-wrong")
    drop(page, "notes.doc", "application/msword", "x")
    assert "notes.doc is no SVG, DXF, CSV or JSON." == page.inner_text("#spoken")


def test_a_tracing_is_dropped(opened: Open) -> None:
    """A traced panel goes into the request as it is; what a ruler says of its curvature is added."""
    page = opened("en")
    outline = "M0 0H90V40H0Z"
    tracing = {"panel": "outer-quarter", "face": "outer", "shape": {"kind": "traced", "d": outline}}
    drop(page, "panel.json", "application/json", json.dumps(tracing))
    page.check("#label-textile")
    page.select_option("#curvature-0", "rise")
    page.fill("#rise-0", "1,5")
    page.click("#finer-0 summary")
    page.select_option("#pose-0", "at")
    page.fill("#x-0", "-4")
    with page.expect_request("**/v1/quotes") as asked:
        page.fill("#text-0", "EDDY")
    order = json.loads(asked.value.post_data or "")
    (panel,) = order["shoe"]["panels"]
    assert {"kind": "traced", "d": outline} == panel["shape"]
    assert {"rise": "1.5 mm over 60 mm"} == panel["curvature"]
    assert {"kind": "at", "x": "-4 mm", "y": "0 mm"} == order["placements"][0]["pose"]
    page.wait_for_selector("#answer[data-state=answered]:not([data-verdict=''])")

    drop(page, "other.json", "application/json", "{}")
    page.wait_for_selector("#spoken:has-text('other.json has no traced panel.')", state="attached")


def test_a_photo_of_a_tracing_is_read(opened: Open) -> None:
    """The traced panel is shown over its photo and asked with; what is wrong with the bars is said beside them."""
    along, across = json.loads((PHOTOS / "photos.json").read_text("utf-8"))["deck"]["bars"]
    page = opened("en")
    page.check("#kind-measured")
    page.check("#label-leather")
    page.set_input_files("#tracing", PHOTOS / "deck.jpg")
    assert "photo-along" == page.evaluate("document.activeElement.id")
    page.fill("#photo-along", str(across))
    page.fill("#photo-across", str(along))
    page.set_input_files("#tracing", PHOTOS / "deck.jpg")
    page.wait_for_selector("#photo-wrong li:has-text('along')")

    page.fill("#photo-along", str(along))
    page.fill("#photo-across", str(across))
    page.fill("#text-0", "EDDY")
    with page.expect_request("**/v1/quotes") as asked:
        page.set_input_files("#tracing", PHOTOS / "deck.jpg")
    page.wait_for_selector("#photo img")
    (panel,) = json.loads(asked.value.post_data or "")["shoe"]["panels"]
    assert ("outer-quarter", "traced") == (panel["panel"], panel["shape"]["kind"])
    assert {"eyelets", "seam"} == {keep_out["what"] for keep_out in panel["shape"]["keep_outs"]}
    page.wait_for_selector("#answer[data-state=answered]:not([data-verdict=''])")

    line = "".join(f"{code}\n{value}\n" for code, value in ((0, "CIRCLE"), (8, 0), (10, 0), (20, 0), (40, 31)))
    header = "0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n4\n0\nENDSEC\n"
    dxf = f"{header}0\nSECTION\n2\nENTITIES\n{line}0\nENDSEC\n0\nEOF\n"
    with page.expect_request("**/v1/tracings?panel=outer-quarter&face=outer"):
        drop(page, "quarter.dxf", "", dxf)
    page.wait_for_selector("#photo figcaption:has-text('62.0 x 62.0 mm, 0 eyelets')")


def test_a_list_is_mended_in_place(opened: Open) -> None:
    """Of 20 rows three are bad; each is mended where it stands, and one printout has all; from right to left."""
    rows = [f"{name};{number};{36 + number % 10}" for number, name in enumerate(NAMES, start=1)]
    rows += ["SANDPIPER-CORMORANT-GANNET;18;42", "TERN;19;huge", ";20;43"]
    page = opened("ar-XB")
    page.select_option("#book-shoe", "court-trainer")
    page.check("#colour-m0-pitch")
    drop(page, "crew.csv", "text/csv", "Name;Number;Size\r\n" + "\r\n".join(rows) + "\r\n")
    page.click("#roster-space")
    page.wait_for_selector("#mends:not(:has(#roster-space))")
    verdict(page, DECLINE)
    assert {"decline": 1, "fault": 2, "ready": 17} == {
        kind: page.locator(f"#roster tr.{kind}").count() for kind in ("decline", "fault", "ready")
    }
    assert "rtl" == page.evaluate("getComputedStyle(document.getElementById('sheet')).direction")
    page.click("#row-0-picture-")
    page.wait_for_selector("#roster .pictured img")
    assert NAMES[0] in (page.get_attribute("#roster .pictured img", "alt") or "")
    assert "true" == page.get_attribute("#row-0-picture-", "aria-expanded")
    accessible(page)
    page.click("#row-0-picture-")
    assert not page.locator("#roster .pictured img").count()

    page.fill("#row-17-name", "PUFFIN")
    page.fill("#row-18-size-", "EU 41")
    page.fill("#row-19-name", "PLOVER")
    verdict(page, READY)
    assert 20 == page.locator("#roster tr.ready").count()
    assert page.is_visible("#roster-bench .setting")
    page.emulate_media(media="print")
    assert page.is_visible("#roster table")
    assert not page.is_visible("#sheet")
    assert "PLOVER" == page.input_value("#row-19-name")


def test_a_trial_is_taken_to_its_end(opened: Open) -> None:
    """Each rung is a list of what to look at; its outcome names the upper, which the next questions are asked with."""
    page = opened("en")
    walk_in(page, surface=False)
    verdict(page, TRIAL)
    page.click("#trial-begin")
    page.check("#check-before-0")
    page.check("#check-look-0-0")
    page.check("#seen-nothing")
    page.click("#trial-next")
    page.wait_for_selector("#check-look-1-0")
    page.check("#seen-bond")
    asked: list[Request] = []
    page.on("request", lambda request: asked.append(request) if request.method == "POST" else None)
    page.click("#trial-next")
    page.wait_for_selector("#bench .stood .setting")

    assert "trial-end" == page.evaluate("document.activeElement.id")
    assert page.is_visible("#upper-forget")
    page.locator("#trial").scroll_into_view_if_needed()
    board, trial = (page.locator(name).bounding_box() for name in ("#answer", "#trial"))
    assert board is not None
    assert trial is not None
    assert board["y"] + board["height"] <= trial["y"] + 1
    (order,) = [json.loads(request.post_data or "") for request in asked if request.url.endswith("/v1/quotes")]
    assert order["shoe"]["upper"] == order["observations"][0]["onto"]["shoe"]["upper"]
    assert [("lifts", "unchanged"), ("holds", "unchanged")] == [
        (seen["bond"], seen["upper"]) for seen in order["observations"]
    ]
    accessible(page)
    page.reload()
    page.wait_for_selector("#trial-end")


def test_nothing_is_lost_when_the_service_is(opened: Open, counter: Counter) -> None:
    """Typed on while the service is stopped, and reloaded later, the page has everything and asks by itself."""
    page = opened("en")
    page.select_option("#book-shoe", "regatta-deck")
    page.fill("#size", "42")
    page.fill("#text-0", "EDDY")
    verdict(page, READY)
    counter.stop()
    page.fill("#text-0", "HALYARD")
    page.wait_for_selector("#lost", state="visible")
    page.wait_for_selector("#verdict:has-text('No answer yet')")
    assert "asking" == page.get_attribute("#answer", "data-state")
    page.fill("#reference", "K-7")
    counter.start()
    page.wait_for_selector("#lost", state="hidden")
    verdict(page, READY)

    page.reload()
    verdict(page, READY)
    assert ("HALYARD", "K-7") == (page.input_value("#text-0"), page.input_value("#reference"))


def test_a_key_for_pages_sees_what_is_for_customers(opened: Open, counter: Counter, tmp_path: Path) -> None:
    """A key is typed once; with one of the scope `price` no answer has a cost, a setting or a reason of the bench."""
    key, entry = _page_key()
    keys = tmp_path / "keys.toml"
    keys.write_text(entry, "utf-8")
    counter.stop()
    counter.start({"FEATHERLINE_KEYS": str(keys)})
    try:
        page = opened("en")
        page.fill("#key-text", "no such key")
        page.keyboard.press("Enter")
        page.wait_for_selector("#key-wrong:not(:empty)")
        page.fill("#key-text", key)
        page.keyboard.press("Enter")
        page.wait_for_selector("#size")
        told: list[str] = []
        page.on("response", lambda answer: told.append(answer.url) if answer.status == 200 else None)
        page.select_option("#book-shoe", "regatta-deck")
        page.fill("#size", "42")
        page.fill("#text-0", "MARLOW")
        verdict(page, READY)
        page.wait_for_selector("#pictures img")
        assert re.search(r"[0-9]\.[0-9]{2}", page.inner_text("#price"))
        assert not page.is_visible("#bench")
        assert not page.is_visible("#trial")
        asked = {url.removeprefix(counter.url) for url in told if "blob" not in url}
        assert {"/v1/offers", "/v1/pictures"} == {path for path in asked if not path.startswith("/counter/")}
        assert not re.search(r"°C|kPa|margin", page.inner_text("body"))
        page.check("#place-0-heel")
        page.fill("#height-m0", "12")
        verdict(page, DECLINE)
        page.click('[data-mend="/artwork/letter_height"]')
        verdict(page, READY)
        page.reload()
        verdict(page, READY)
    finally:
        counter.stop()
        counter.start()


def _page_key() -> tuple[str, str]:
    """Return a key of the scope `price`, and its entry."""
    from datetime import UTC, datetime  # noqa: PLC0415 - only here

    key, entry = mint("page", datetime.now(UTC))
    return key, re.sub(r"scopes = .*", 'scopes = ["price"]', entry)


def test_a_card_as_a_page_is_printed_on_one_sheet(opened: Open, counter: Counter) -> None:
    """The same card as HTML, of a trial of three rungs and of a shoe of the book, printed by the browser on A4."""
    from pypdf import PdfReader  # noqa: PLC0415 - only here

    page = opened("en")
    shape = {"kind": "rectangle", "width": "90 mm", "height": "40 mm"}
    walk_in_shoe = {
        "kind": "measured",
        "label": "leather",
        "inside_length": "275 mm",
        "panels": [{"panel": "outer-quarter", "shape": shape}],
    }
    deck = {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}}
    text = {"kind": "text", "text": "MARLOW", "font": "plain", "letter_height": "10 mm"}
    placement = {"panel": "outer-quarter", "film": "smooth", "colour": "gorse", "artwork": text}
    for shoe, said in ((walk_in_shoe, "Try it first"), (deck, "Ready")):
        answer = page.request.post(
            f"{counter.url}/v1/quotes",
            data={"shoe": shoe, "placements": [placement]},
            headers={"Accept": "text/html"},
        )
        card = page.context.new_page()
        card.set_content(answer.text())
        (sheet,) = PdfReader(io.BytesIO(card.pdf(prefer_css_page_size=True))).pages
        assert (595, 842) == (round(sheet.mediabox.width), round(sheet.mediabox.height))
        assert all(words in sheet.extract_text() for words in (said, "Cautions", "Date"))
