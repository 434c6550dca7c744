"""A real browser, and pages served to it on loopback by a server that remembers what was asked for."""

from __future__ import annotations

import http.server
import json
import threading
from collections.abc import Iterator

import pytest
from selenium.webdriver import Chrome, ChromeOptions, ChromeService

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
)


class _Pages(http.server.BaseHTTPRequestHandler):
    """Serves one page and remembers every path that was asked for."""

    page = b""
    asked: list[str]

    def do_GET(self) -> None:
        self.asked.append(self.path)
        self.send_response(200 if self.path == "/page.html" else 404)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(self.page if self.path == "/page.html" else b"")

    def log_message(self, *_: object) -> None:
        """Say nothing."""


class Served:
    """A page on loopback."""

    def __init__(self, page: str) -> None:
        self.asked: list[str] = []
        handler = type("Handler", (_Pages,), {"page": page.encode(), "asked": self.asked})
        self._server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler)
        self._thread = threading.Thread(target=self._server.serve_forever)
        self._thread.start()
        self.url = f"http://127.0.0.1:{self._server.server_address[1]}/page.html"

    def close(self) -> None:
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()


@pytest.fixture(scope="session")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chrome]:
    options = ChromeOptions()
    options.binary_location = "/usr/bin/chromium"
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"performance": "ALL"})
    driver = Chrome(options=options, service=ChromeService(executable_path="/usr/bin/chromedriver"))
    try:
        yield driver
    finally:
        driver.quit()


@pytest.fixture
def browser(chromium: Chrome) -> Chrome:
    """Return the browser as if new: no page, no emulation, an empty log."""
    chromium.get("about:blank")
    chromium.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": []})
    urls_asked(chromium)
    return chromium


@pytest.fixture
def serving() -> Iterator[list[Served]]:
    served: list[Served] = []
    try:
        yield served
    finally:
        for each in served:
            each.close()


def opened(browser: Chrome, serving: list[Served], page: str, *, width: int = 1280) -> Served:
    serving.append(Served(page))
    metrics = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 500}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    browser.get(serving[-1].url)
    return serving[-1]


def urls_asked(browser: Chrome) -> set[str]:
    """What the browser's own log says that the page asked for, data addresses and its start page aside."""
    log = browser.get_log("performance")  # type: ignore[no-untyped-call]  # selenium leaves it untyped
    messages = [json.loads(entry["message"])["message"] for entry in log]
    urls = {
        str(message["params"]["request"]["url"])
        for message in messages
        if message["method"] == "Network.requestWillBeSent"
    }
    return {url for url in urls if not url.startswith(("data:", "chrome:"))}


def overflow(browser: Chrome) -> int:
    wide = browser.execute_script("return document.documentElement.scrollWidth - window.innerWidth")
    assert isinstance(wide, int)
    return wide


def in_scheme(browser: Chrome, scheme: str) -> None:
    """Let the browser ask for light or dark."""
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})


def unfold(browser: Chrome) -> None:
    """Open all that is folded away."""
    browser.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")
