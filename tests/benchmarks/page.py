"""Opening the weekly page of a large estate in headless Chromium, against a plain text of the same bytes.

`python -m tests.benchmarks page`. What is timed ends with the first frame after all was loaded. Each page is opened in
a browser of its own, so that neither finds anything warm.
"""

from __future__ import annotations

from functools import partial
from html import escape
from pathlib import Path
from tempfile import TemporaryDirectory

from selenium.webdriver import Chrome, ChromeOptions, ChromeService

from coverage_audit.reports.weekly import weekly_page
from tests.benchmarks.timing import Figure, Measured, in_pairs
from tests.builders.judged import NOW
from tests.builders.year_of_the_station import WEEK_FROM, a_large_year
from tests.parts.chromium import FLAGS

_DRAWN = "const done = arguments[0]; requestAnimationFrame(() => setTimeout(() => done(performance.now() / 1000), 0))"


def rows(*, folder: Path | None = None, rounds: int = 3) -> list[Figure]:
    """Measure both, of three hundred datasets with five thousand findings and a year of each."""
    with TemporaryDirectory(dir=folder) as scratch:
        page, plain = Path(scratch) / "weekly.html", Path(scratch) / "plain.html"
        year = a_large_year()
        text = weekly_page(year.judged, year.estate, year.back, since=year.since, week_from=WEEK_FROM, now=NOW)
        page.write_text(text, encoding="utf-8")
        plain.write_text(_plain(len(text.encode())), encoding="utf-8")
        opened, referred = in_pairs(partial(_opened, page), partial(_opened, plain), rounds)
    return [
        Figure(
            work=f"open a weekly page of 300 datasets ({len(text) / 1e6:.1f} MB)",
            measured=opened,
            reference="plain text of the same bytes",
            referred=referred,
            most=0.5,
        )
    ]


def _plain(size: int) -> str:
    """Make a page that is text alone, in lines of eighty letters."""
    head = "<!doctype html><meta charset=utf-8><title>plain</title><pre>"
    line = escape("what was not observed is unverified; it is never counted as covered anywhere, ") + "\n"
    return (head + line * (size // len(line) + 1))[:size]


def _opened(page: Path) -> Measured:
    options = ChromeOptions()
    options.binary_location = "/usr/bin/chromium"
    for flag in FLAGS:
        options.add_argument(flag)
    browser = Chrome(options=options, service=ChromeService(executable_path="/usr/bin/chromedriver"))
    try:
        browser.execute_cdp_cmd("Performance.enable", {})
        browser.get(page.as_uri())
        wall = browser.execute_async_script(_DRAWN)
        metrics = browser.execute_cdp_cmd("Performance.getMetrics", {})["metrics"]
        (busy,) = (one["value"] for one in metrics if one["name"] == "TaskDuration")
        return Measured(wall=wall, cpu=busy, peak=_largest_of(browser.service.process.pid))
    finally:
        browser.quit()


def _largest_of(root: int) -> int:
    """Return the largest peak of resident memory (bytes) among the processes below one."""
    parents, peaks = {}, {}
    for status in Path("/proc").glob("[0-9]*/status"):
        try:
            fields = dict(line.split(":\t", 1) for line in status.read_text().splitlines() if ":\t" in line)
        except OSError:  # it has ended
            continue
        number = int(status.parent.name)
        parents[number] = int(fields["PPid"])
        peaks[number] = 1024 * int(fields.get("VmHWM", "0 kB").split()[0])
    return max((peak for number, peak in peaks.items() if _is_below(number, root, parents)), default=0)


def _is_below(number: int, root: int, parents: dict[int, int]) -> bool:
    while number in parents:
        number = parents[number]
        if number == root:
            return True
    return False
