from __future__ import annotations

import base64
import io
import json
import re
import struct
from pathlib import Path
from xml.etree import ElementTree as ET

import httpx2
import msgspec
import pytest
from page_keys import Shop
from PIL import Image

from featherline.wire.problems import Fault
from featherline.wire.shoes import MeasuredPanel, Traced
from featherline_service.book.loader import load
from featherline_service.questions import tracings
from featherline_service.questions.tracings import TracingAsked
from featherline_service.web.routes.tracing import photos

PHOTOS = Path(__file__).parents[3] / "tracing" / "photos"
BARS = json.loads((PHOTOS / "photos.json").read_text(encoding="utf-8"))["deck"]["bars"]
ASKED = f"?along={BARS[0]:.2f}mm&across={BARS[1] / 10:.3f}+cm"
SECRET = b"Saltmarsh Quay, 54.0 N 8.3 E"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    """A service with keys."""
    return Shop(load(), Path(tmp_path_factory.mktemp("keys")))


def with_metadata() -> bytes:
    """Return the photo of the deck shoe as a camera saves it, with where it was taken, when and with what.

    References:
        JEITA CP-3451 (Exif 2.32), tables 4 and 17; Adobe XMP part 3, section 1.1.3: both come as APP1 (from memory).
    """
    taken = (PHOTOS / "deck.jpg").read_bytes()
    exif = Image.Exif()
    exif[0x010E] = exif[0x0132] = SECRET.decode()
    exif[0x0112] = 6
    more = (
        (b"\xff\xe1", exif.tobytes()),
        (b"\xff\xe1", b"http://ns.adobe.com/xap/1.0/\0" + SECRET),
        (b"\xff\xfe", SECRET),
    )
    parts = (kind + struct.pack(">H", 2 + len(content)) + content for kind, content in more)
    return taken[:2] + b"".join(parts) + taken[2:]


def asked(shop: Shop, query: str, content: bytes, key: str = "ask", **headers: str) -> httpx2.Response:
    """Return the response to a photo."""
    return shop.post(f"/v1/tracings{query}", key, content, **{"content-type": "image/jpeg", **headers})


def test_a_photo_is_answered_as_a_panel_and_as_a_picture(shop: Shop) -> None:
    """The panel goes into an order as it is; the picture is an SVG that loads nothing; neither tells of the camera."""
    photo = with_metadata()
    answer = asked(shop, f"{ASKED}&panel=outer-quarter&keep_out=perforation", photo)
    picture = asked(shop, ASKED, photo, accept="image/svg+xml")

    assert (200, 200) == (answer.status_code, picture.status_code)
    body = answer.json()
    panel = msgspec.convert(body["panel"], MeasuredPanel)
    assert ("outer-quarter", "outer") == (panel.panel, panel.face)
    assert isinstance(panel.shape, Traced)
    assert body["panel"]["shape"]["keep_outs"] == body["drawing"]["keep_outs"]
    assert {"eyelets", "perforation"} == {keep_out.what for keep_out in panel.shape.keep_outs}
    assert "no-store" == answer.headers["cache-control"]
    assert "default-src 'none'; img-src data:" in picture.headers["content-security-policy"]
    names = {element.tag.rpartition("}")[2] for element in ET.fromstring(picture.text).iter()}  # noqa: S314 - our own
    assert names <= {"svg", "title", "desc", "rect", "image", "path", "text"}
    (inside,) = re.findall(r"base64,([^\"]+)", picture.text)
    small = base64.b64decode(inside)
    for told in (answer.content, picture.content, small):
        assert SECRET not in told
        assert b"Exif" not in told
    assert {"jfif", "jfif_version", "jfif_unit", "jfif_density"} >= set(Image.open(io.BytesIO(small)).info)


def test_drawings_are_answered_as_photos_are(shop: Shop) -> None:
    """SVG and DXF, in the unit that they or the query say; as a picture, too."""
    svg = b'<svg xmlns="http://www.w3.org/2000/svg"><path d="M1 1H10V5H1Z"/></svg>'
    dxf = b"  0\nSECTION\n  2\nENTITIES\n" + b"".join(
        b"  0\nLINE\n  8\n0\n" + part
        for part in (
            b" 10\n0\n 20\n0\n 11\n90\n 21\n0\n",
            b" 10\n90\n 20\n0\n 11\n90\n 21\n40\n",
            b" 10\n90\n 20\n40\n 11\n0\n 21\n0\n",
        )
    ) + b"  0\nENDSEC\n  0\nEOF\n"  # fmt: skip
    answers = [
        asked(shop, "?unit=cm&panel=vamp", svg, **{"content-type": "image/svg+xml"}),
        asked(shop, "?unit=mm", dxf, **{"content-type": "image/vnd.dxf"}),
    ]
    picture = asked(shop, "?unit=cm", svg, **{"content-type": "image/svg+xml", "accept": "image/svg+xml"})

    assert [("vamp", 90.0, 40.0, 3_600.0), ("panel", 90.0, 40.0, 1_800.0)] == [
        (body["panel"]["panel"], body["width_mm"], body["height_mm"], body["area_mm2"])
        for body in (answer.json() for answer in answers)
    ]
    assert "Drawing of panel" in picture.text


def test_nothing_of_a_photo_is_kept(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same photo is computed each time that it is sent, whatever the coding of its answer."""
    answers = []

    def trace(asked: TracingAsked) -> Fault:
        answers.append(asked.media_type)
        return Fault(pointer="", detail="told " * 1_000)

    monkeypatch.setattr(tracings, "trace", trace)

    statuses = [asked(shop, ASKED, b"photo", **{"accept-encoding": coding}).status_code for coding in ("", "", "gzip")]
    png = asked(shop, ASKED, b"photo", **{"content-type": "IMAGE/PNG", "accept-encoding": "gzip"})

    assert [200, 200, 200, 200] == [*statuses, png.status_code]
    assert ["image/jpeg", "image/jpeg", "image/jpeg", "image/png"] == answers


@pytest.mark.parametrize(
    ("query", "content_type", "size", "status", "told"),
    [
        ("?along=240mm", "image/jpeg", 9, 422, "A photo needs the parameter 'across': measure the bar across"),
        ("?along=240&across=150mm", "image/jpeg", 9, 400, "'along' cannot be used"),
        (
            "?along=240mm&along=9mm&across=150mm",
            "image/jpeg",
            9,
            400,
            "'along' cannot be used: it comes more than once",
        ),
        ("?along=240mm&across=150mm&keep_out=all", "image/jpeg", 9, 400, "'keep_out' cannot be used"),
        ("?along=240mm&across=150mm&keep=1", "image/jpeg", 9, 400, "This path takes the query parameters"),
        (ASKED, "application/json", 9, 415, "send image/jpeg or image/png or image/svg+xml or image/vnd.dxf"),
        (f"{ASKED}&unit=mm", "image/jpeg", 9, 422, "A photo has the bars of its sheet: leave the parameter 'unit'"),
        ("?along=240mm", "image/svg+xml", 9, 422, "A drawing has no sheet with bars: leave the parameter 'along'"),
        ("?unit=px", "image/vnd.dxf", 9, 400, "'unit' cannot be used"),
        ("", "image/vnd.dxf", photos.LARGEST_DRAWING + 1, 413, "500,000 bytes"),
        ("", "image/vnd.dxf", 9, 422, "not DXF as text"),
        (ASKED, "image/jpeg", photos.LARGEST_PHOTO + 1, 413, "12,582,912 bytes"),
        (ASKED, "image/jpeg", 2_000_000, 422, "no picture of the type image/jpeg"),
        (ASKED, "image/png", 9, 422, "no picture of the type image/png"),
    ],
)
def test_what_is_no_photo_is_a_problem(  # noqa: PLR0917 - parameters
    shop: Shop, query: str, content_type: str, size: int, status: int, told: str
) -> None:
    """Parameters that are wrong (400) or of another file (422), other media types, too much, and what is no picture."""
    answer = asked(shop, query, bytes(size), **{"content-type": content_type})

    assert status == answer.status_code
    assert told in answer.text


@pytest.mark.parametrize(("key", "status"), [("ask", 422), ("page", 403), ("watch", 403), ("shop", 422)])
def test_only_keys_that_may_ask_send_photos(shop: Shop, key: str, status: int) -> None:
    """A page's key, which everybody can read, may not: a photo takes a second of the shop's processor."""
    assert status == asked(shop, ASKED, b"photo", key).status_code
