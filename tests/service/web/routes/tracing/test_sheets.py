from __future__ import annotations

import io
from pathlib import Path

import pytest
from page_keys import Shop
from pypdf import PdfReader

from featherline_service.book.loader import load


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    """A service with keys."""
    return Shop(load(), Path(tmp_path_factory.mktemp("keys")))


@pytest.mark.parametrize(("paper", "size"), [("a4", (297.0, 210.0)), ("letter", (279.4, 215.9))])
def test_a_sheet_prints_at_its_size(shop: Shop, paper: str, size: tuple[float, float]) -> None:
    """As PDF the page has the size of the paper and asks the printer not to scale; as SVG it says its millimetres."""
    pdf = shop.get(f"/v1/tracing-sheets/{paper}", "ask")
    svg = shop.get(f"/v1/tracing-sheets/{paper}", "page", accept="image/svg+xml")

    reader = PdfReader(io.BytesIO(pdf.content))
    (page,) = reader.pages
    assert pytest.approx(size) == (float(page.mediabox.width) / 72 * 25.4, float(page.mediabox.height) / 72 * 25.4)
    assert "/None" == reader.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"]
    assert "Print at 100 %" in page.extract_text().replace("\n", " ")
    assert f'filename="tracing-sheet-{paper}.pdf"' in pdf.headers["content-disposition"]
    assert f'width="{size[0]:g}mm"' in svg.text
    assert "default-src 'none'" in svg.headers["content-security-policy"]


def test_a_sheet_is_revalidated_and_another_paper_is_not_there(shop: Shop) -> None:
    """Whoever has it gets 304; of other papers there is none."""
    tag = shop.get("/v1/tracing-sheets/a4", "ask").headers["etag"]

    again = shop.get("/v1/tracing-sheets/a4", "ask", **{"if-none-match": tag})
    missing = shop.get("/v1/tracing-sheets/a3", "ask")

    assert (304, b"") == (again.status_code, again.content)
    assert 404 == missing.status_code
    assert "There are tracing sheets for: a4, letter." == missing.json()["detail"]
