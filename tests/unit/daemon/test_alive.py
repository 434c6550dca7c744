"""Calls are made for real, to servers on loopback. What is a yes: RFC 9110 section 15."""

from __future__ import annotations

import http.server
import json
import ssl
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from coverage_audit.daemon.alive import LONGEST, Calls, NightEnd, call, night_end
from coverage_audit.errors import LedgerError
from coverage_audit.estate.model import Kept
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.past_record import NightOutcome, NightRecord
from tests.parts.mailbox import PLANTED, Endpoint

KEPT = Kept(url_env="ALIVE_URL")
NOW = datetime(2026, 11, 27, 4, 30, tzinfo=UTC)
RECORD = NightRecord(
    night=date(2026, 11, 27), started=NOW, finished=NOW + timedelta(minutes=9), outcome=NightOutcome.AUDITED, missed=2
)
SEED = bytes(16)


def the_end(record: NightRecord = RECORD, conclusion: Conclusion | None = Conclusion.NONCONFORMING) -> NightEnd:
    end = night_end("Saltreach", SEED, record, conclusion)
    assert end is not None
    return end


def called(url: str, wait_s: float = 30) -> str | None:
    reason = call(KEPT, {"ALIVE_URL": url}, the_end(), wait_s=wait_s)
    assert PLANTED not in str(reason)
    return reason


@dataclass
class Station:
    """A web server that answers each path as it is told, and remembers what was sent."""

    port: int = 0
    answers: dict[str, tuple[int, str]] = field(default_factory=dict)
    """By path: the status, and where it leads ("" nowhere)."""
    seen: list[tuple[str, str, bytes]] = field(default_factory=list)

    def url(self, path: str = "/", scheme: str = "http") -> str:
        return f"{scheme}://user:{PLANTED}@127.0.0.1:{self.port}{path}"


@contextmanager
def answering(context: ssl.SSLContext | None = None) -> Iterator[Station]:
    station = Station()

    class Answering(http.server.BaseHTTPRequestHandler):
        def answer(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"] or 0))
            station.seen.append((self.command, self.path, body))
            status, leads_to = station.answers.get(self.path, (200, ""))
            self.send_response(status)
            if leads_to:
                self.send_header("Location", leads_to)
            self.send_header("Content-Length", "0")
            self.end_headers()

        do_POST = do_GET = answer  # noqa: N815 - the library's names

        def log_message(self, *_said: object) -> None:
            """Say nothing."""

        def handle(self) -> None:
            try:
                super().handle()
            except OSError:
                self.close_connection = True  # a client that does not trust us goes away

    class Server(http.server.ThreadingHTTPServer):
        def handle_error(self, *_about: object) -> None:
            """Say nothing of a handshake that failed."""

    with Server(("127.0.0.1", 0), Answering) as server:
        if context is not None:
            server.socket = context.wrap_socket(server.socket, server_side=True, do_handshake_on_connect=False)
        station.port = server.server_port
        worker = threading.Thread(target=server.serve_forever)
        worker.start()
        yield station
        server.shutdown()
        worker.join()


@pytest.fixture
def web() -> Iterator[Station]:
    with answering() as station:
        yield station


def test_what_is_called_out_says_which_night_and_how_it_ended(endpoint: Endpoint) -> None:
    url = f"http://127.0.0.1:{endpoint.port}/{PLANTED}"
    assert called(url) is None
    assert json.loads(endpoint.bodies[0]) == {
        "schema": "coverage-audit/alive/1",
        "event": the_end().event,
        "estate": "Saltreach",
        "night": "2026-11-27",
        "outcome": "audited",
        "conclusion": "nonconforming",
        "finished": "2026-11-27T04:39:00+00:00",
        "missed": 2,
    }
    assert [event for event, _ in endpoint.taken] == [the_end().event]
    assert endpoint.paths == [f"/{PLANTED}"]


def test_a_night_that_failed_is_called_out_too_and_has_no_conclusion() -> None:
    failed = replace(RECORD, outcome=NightOutcome.FAILED, detail="/srv/main: no room left")
    said = json.loads(the_end(failed).body())
    assert (said["outcome"], said["conclusion"]) == ("failed", None)
    assert b"/srv" not in the_end(failed).body()


def test_a_night_that_has_not_ended_is_not_called_out() -> None:
    assert night_end("Saltreach", SEED, replace(RECORD, finished=None, outcome=None), None) is None


def test_an_event_has_one_name_however_often_it_is_asked_for_and_another_each_night_and_ledger() -> None:
    assert the_end() == the_end()
    others = [the_end(replace(RECORD, night=date(2026, 11, 28))), the_end(replace(RECORD, outcome=NightOutcome.FAILED))]
    elsewhere = night_end("Saltreach", b"x" * 16, RECORD, None)
    assert elsewhere is not None
    assert len({the_end().event, elsewhere.event, *(other.event for other in others)}) == 4


@pytest.mark.parametrize("status", [200, 201, 204])
def test_any_answer_of_success_is_a_yes(web: Station, status: int) -> None:
    web.answers["/"] = (status, "")
    assert called(web.url()) is None


@pytest.mark.parametrize("status", [400, 404, 429, 500, 503])
def test_any_other_answer_is_a_no_and_says_which(web: Station, status: int) -> None:
    web.answers["/"] = (status, "")
    assert called(web.url()) == f"it answered {status}"


def test_a_redirect_that_keeps_the_message_is_followed(web: Station) -> None:
    web.answers["/"] = (308, "/moved")
    assert called(web.url()) is None
    assert web.seen == [("POST", "/", the_end().body()), ("POST", "/moved", the_end().body())]


@pytest.mark.parametrize("status", [301, 302, 303])
def test_a_redirect_that_drops_the_message_is_no_yes(web: Station, status: int) -> None:
    # RFC 9110 sections 15.4.2 to 15.4.4: the POST may become a GET. A failed night must not arrive as a bare "alive".
    web.answers["/"] = (status, "/moved")
    assert "give the address that it leads to" in str(called(web.url()))
    assert web.seen[-1] == ("GET", "/moved", b"")


def test_a_redirect_in_a_circle_ends(web: Station) -> None:
    web.answers["/"] = (307, "/")
    assert called(web.url()) == "it leads from one address to the next without end"


def test_a_server_that_says_nothing_costs_its_deadline(silent_port: int) -> None:
    assert called(f"http://127.0.0.1:{silent_port}/{PLANTED}", wait_s=1) == "no answer within 1 s"


def test_a_server_that_answers_a_byte_at_a_time_is_given_up_all_the_same(
    trickling_port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coverage_audit.daemon.alive.GRACE_S", 4)
    begun = time.monotonic()
    assert called(f"http://127.0.0.1:{trickling_port}/{PLANTED}", wait_s=1) == "no answer within 1 s"
    assert time.monotonic() - begun < 15


def test_a_body_that_never_ends_does_not_matter(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coverage_audit.daemon.alive.GRACE_S", 10)
    with endless() as port:
        assert called(f"http://127.0.0.1:{port}/{PLANTED}", wait_s=5) is None


@contextmanager
def endless() -> Iterator[int]:
    """A server that says 200 and then goes on for ever."""
    ended = threading.Event()

    class Endless(http.server.BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            self.send_response(200)
            self.end_headers()
            while not ended.is_set():
                try:
                    self.wfile.write(b"x")
                except OSError:
                    return
                ended.wait(0.05)

        def log_message(self, *_said: object) -> None:
            """Say nothing."""

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Endless) as server:
        worker = threading.Thread(target=server.serve_forever)
        worker.start()
        yield server.server_port
        ended.set()
        server.shutdown()
        worker.join()


def test_nobody_there_is_said_in_the_words_of_the_system(silent_port: int) -> None:
    del silent_port
    assert called(f"http://127.0.0.1:1/{PLANTED}") == "no connection: Connection refused"


def test_a_host_that_nobody_knows_is_said() -> None:
    # RFC 6761 section 6.4: names below `invalid` never exist.
    assert called(f"http://ping.invalid/{PLANTED}") == "no connection: its host's name is not known here"


@pytest.mark.parametrize(
    ("url", "said"),
    [
        (f"ftp://127.0.0.1/{PLANTED}", "its address begins neither with https:// nor with http://"),
        (f"file:///etc/{PLANTED}", "its address begins neither with https:// nor with http://"),
        (PLANTED, "its address begins neither with https:// nor with http://"),
        ("http://", "its address is none that can be used"),
        (f"http://[{PLANTED}", "the call failed (ValueError)"),
    ],
)
def test_what_is_no_address_of_the_web_is_said_without_repeating_it(url: str, said: str) -> None:
    assert called(url) == said


def test_an_address_that_cannot_be_found_is_said() -> None:
    assert call(KEPT, {}, the_end()) == "alive: the environment has no ALIVE_URL"


@pytest.fixture
def own_certificate(tmp_path: Path) -> tuple[Path, ssl.SSLContext]:
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    command = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=127.0.0.1"]
    command += ["-addext", "subjectAltName=IP:127.0.0.1", "-keyout", key.as_posix(), "-out", certificate.as_posix()]
    subprocess.run(command, check=True, capture_output=True)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)
    return certificate, context


def test_a_certificate_that_nobody_vouches_for_is_refused_before_anything_is_sent(
    own_certificate: tuple[Path, ssl.SSLContext],
) -> None:
    with answering(own_certificate[1]) as station:
        assert (
            called(station.url(scheme="https")) == "its certificate cannot be trusted, or it speaks no TLS that can be"
        )
        assert station.seen == []


def test_a_certificate_that_the_machine_was_told_to_trust_is_taken(
    own_certificate: tuple[Path, ssl.SSLContext], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REQUESTS_CA_BUNDLE", str(own_certificate[0]))
    with answering(own_certificate[1]) as station:
        assert called(station.url(scheme="https")) is None


def test_neither_the_process_list_nor_the_output_shows_the_address(
    silent_port: int, capfd: pytest.CaptureFixture[str]
) -> None:
    seen: list[bytes] = []
    url = f"http://127.0.0.1:{silent_port}/{PLANTED}"
    worker = threading.Thread(target=called, args=(url, 2))
    worker.start()
    while worker.is_alive():
        for entry in Path("/proc").iterdir():
            if entry.name.isdigit():
                try:
                    seen.append((entry / "cmdline").read_bytes())
                except OSError:
                    continue
        time.sleep(0.1)
    worker.join()
    assert any(b"multiprocessing" in line for line in seen)
    assert not [line for line in seen if PLANTED.encode() in line]
    assert PLANTED not in "".join(capfd.readouterr())


def test_what_was_taken_is_not_called_again_after_a_restart_either(tmp_path: Path) -> None:
    calls = Calls(tmp_path)
    assert calls.due(the_end(), NOW)
    calls.taken(the_end())
    assert not calls.due(the_end(), NOW)
    assert not Calls(tmp_path).due(the_end(), NOW)
    assert Calls(tmp_path).due(the_end(replace(RECORD, night=date(2026, 11, 28))), NOW)
    assert not calls.due(None, NOW)


def test_what_failed_is_tried_again_ever_more_rarely_up_to_a_quarter_of_an_hour(tmp_path: Path) -> None:
    calls, now, waits = Calls(tmp_path), NOW, []
    for _ in range(7):
        assert calls.due(the_end(), now)
        wait = calls.failed(the_end(), now)
        assert not calls.due(the_end(), now + wait - timedelta(seconds=1))
        waits.append(wait / timedelta(minutes=1))
        now += wait
    assert waits == [1, 2, 4, 8, 15, 15, 15]


def test_the_next_night_takes_the_place_of_what_was_not_taken(tmp_path: Path) -> None:
    calls, following = Calls(tmp_path), the_end(replace(RECORD, night=date(2026, 11, 28)))
    for _ in range(5):
        calls.failed(the_end(), NOW)
    assert calls.due(following, NOW)
    assert calls.failed(following, NOW) == timedelta(minutes=1)


def test_a_clock_that_was_ahead_does_not_silence_the_calls(tmp_path: Path) -> None:
    calls = Calls(tmp_path)
    calls.failed(the_end(), NOW + timedelta(days=3650))
    assert calls.due(the_end(), NOW)
    assert timedelta(hours=1) > LONGEST


def test_a_state_folder_that_cannot_be_written_is_said_and_the_call_is_not_repeated(tmp_path: Path) -> None:
    calls = Calls(tmp_path / "nowhere")
    with pytest.raises(LedgerError, match="cannot be used"):
        calls.taken(the_end())
    assert not calls.due(the_end(), NOW)


def test_what_a_killed_daemon_left_half_written_goes(tmp_path: Path) -> None:
    (tmp_path / "alive.0badcafe.part").write_bytes(b"")
    (tmp_path / "alive").write_text(the_end().event, encoding="ascii")
    assert not Calls(tmp_path).due(the_end(), NOW)
    assert [entry.name for entry in tmp_path.iterdir()] == ["alive"]


@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"\0" * 100])
def test_a_damaged_note_costs_one_more_call(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "alive").write_bytes(content)
    assert Calls(tmp_path).due(the_end(), NOW)
