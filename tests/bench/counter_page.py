"""How soon the counter's page can be used, and how soon an answer stands on it after the last keystroke.

    python tests/bench/counter_page.py          # with Chromium of the system and playwright

Both are measured within the browser: from the beginning of the navigation until the form is there, and until it is
painted, each time in a new context with nothing cached, and from the event of the last keystroke until the verdict is
in the document, for names that were not asked for before. A bare answer of the service, shown in turns, tells what the
machine does to both.
"""

from __future__ import annotations

import shutil
import statistics
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

sys.path.append(str(Path(__file__).parent))  # the modules beside this one are no package
from servers import HOST, SERVICE, Process

if TYPE_CHECKING:
    from playwright.sync_api import Browser, CDPSession, Page

LOADS: Final = 15
TEXTS: Final = 40
MOST_LOAD_MS: Final = 300
MOST_ANSWER_MS: Final = 100
_KEYSTROKE_MS: Final = 120  # from one to the next: 100 words a minute
_LETTERS: Final = "ABCDEFHIKLMNOPRSTUVWXYZ"
_WORK: Final = ("ScriptDuration", "RecalcStyleDuration", "LayoutDuration")  # of Chromium's Performance domain [s]
_PAINTED: Final = """new PerformanceObserver((list) => {
    if (list.getEntriesByName("usable").length)
        requestAnimationFrame(() => setTimeout(() => { window.painted = performance.now(); }));
}).observe({ type: "mark" })"""
_WHEN_PAINTED: Final = """() => new Promise((done) => {
    const look = () => { if (window.painted) done(window.painted); else setTimeout(look, 5); };
    look();
})"""
_WATCH: Final = """() => {
    window.answered = 0;
    document.addEventListener("input", (event) => { window.typed = event.timeStamp; }, true);
    const board = document.getElementById("answer");
    new MutationObserver(() => {
        if (board.dataset.state === "answered" && board.dataset.verdict) window.answered = performance.now();
    }).observe(board, { attributes: true, attributeFilter: ["data-state"] });
}"""


def loaded_ms(browser: Browser, url: str) -> tuple[float, float, float]:
    """Return when the page can be used, when it is painted, and for comparison when a bare answer was shown."""
    context = browser.new_context()
    page = context.new_page()
    page.add_init_script(_PAINTED)
    page.goto(f"{url}/health/ready")
    bare = float(page.evaluate("performance.getEntriesByType('navigation')[0].loadEventEnd"))
    page.goto(f"{url}/counter")
    page.wait_for_selector("#size")
    usable = float(page.evaluate("performance.getEntriesByName('usable')[0].startTime"))
    painted = float(page.evaluate(_WHEN_PAINTED))
    context.close()
    return usable, painted, bare


def work_ms(session: CDPSession) -> float:
    """Return how long the page has run scripts and laid itself out until now."""
    metrics = session.send("Performance.getMetrics")["metrics"]
    return 1000 * float(sum(metric["value"] for metric in metrics if metric["name"] in _WORK))


def answered_ms(page: Page, text: str) -> float:
    """Return how long after the last keystroke of a text its verdict stands on the page."""
    page.fill("#text-0", "")
    page.wait_for_selector("#answer[data-verdict='']")
    page.focus("#text-0")
    page.keyboard.type(text, delay=_KEYSTROKE_MS)
    page.wait_for_selector("#answer[data-state=answered]:not([data-verdict=''])")
    return float(page.evaluate("answered - typed"))


def _names(count: int) -> list[str]:
    """Return names of five to nine letters, no two alike."""
    return [
        "".join(_LETTERS[(number * 7 + at * (number + 3)) % len(_LETTERS)] for at in range(5 + number % 5))
        for number in range(count)
    ]


def main() -> int:
    """Print the medians; return 1 where one is over its limit."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - not where only the module is read

    program = shutil.which("chromium") or shutil.which("google-chrome")
    if program is None:
        sys.stderr.write("Chromium is not installed (Debian, Ubuntu: sudo apt install chromium)\n")
        return 2
    with Process(SERVICE, "/health/ready") as service, sync_playwright() as playwright:
        service.start()
        url = f"http://{HOST}:{service.port}"
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        loads = [loaded_ms(browser, url) for _ in range(LOADS)]
        page = browser.new_page()
        page.goto(f"{url}/counter")
        page.wait_for_selector("#size")
        page.fill("#size", "42")
        page.evaluate(_WATCH)
        session = page.context.new_cdp_session(page)
        session.send("Performance.enable")
        before, names = work_ms(session), _names(TEXTS)
        answers = [answered_ms(page, name) for name in names]
        work = (work_ms(session) - before) / sum(map(len, names))
        browser.close()
    usable, painted, bare = (statistics.median(each) for each in zip(*loads, strict=True))
    answered = statistics.median(answers)
    print(f"page usable, cold: {usable:.0f} ms, least {min(load[0] for load in loads):.0f}; limit {MOST_LOAD_MS}")
    print(f"the form painted, cold: {painted:.0f} ms")
    print(f"a bare answer of the service shown, for comparison: {bare:.0f} ms")
    print(f"the page's own work for a keystroke and its answer: {work:.1f} ms")
    print(f"answer after the last keystroke: {answered:.0f} ms, least {min(answers):.0f}; limit {MOST_ANSWER_MS}")
    return int(usable > MOST_LOAD_MS or answered > MOST_ANSWER_MS)


if __name__ == "__main__":
    sys.exit(main())
