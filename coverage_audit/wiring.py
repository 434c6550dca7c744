"""The one composition root: hands each part its collaborators. Nothing else knows all concrete parts."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache, partial
from pathlib import Path

from coverage_audit.audits.audit import Audited
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.summing_up import SummedUp, sum_up
from coverage_audit.collectors.gather import gather, look_again
from coverage_audit.collectors.hash_files import hash_files, usable_digests
from coverage_audit.collectors.own_places import own_places
from coverage_audit.collectors.read_back import read_back
from coverage_audit.comparison.types import Workspace
from coverage_audit.estate.model import Estate, NoticeKind
from coverage_audit.evidence.own import OwnPlaces
from coverage_audit.evidence.progress import Progress, silent
from coverage_audit.ledger.folder import StateFolder
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.opening import exclusive, open_ledger
from coverage_audit.ledger.outgoing import Outgoing
from coverage_audit.ledger.past_record import NightRecord, SummaryRecord
from coverage_audit.notices.addresses import variables_of
from coverage_audit.notices.delivery import Delivered, Failed
from coverage_audit.notices.reading import asked, word_of
from coverage_audit.notices.sending import Outcome, send_waiting
from coverage_audit.notices.telling import Notice, event_of, outgoing, put_news, send_notice, try_target
from coverage_audit.reports.archive import archive_index
from coverage_audit.reports.summary_mail import weekly_mail
from coverage_audit.reports.weekly import weekly_page

Clock = Callable[[], datetime]

DATABASE = "COVERAGE_AUDIT_DATABASE"
"""Names the environment variable that holds the URL of the ledger's database, e.g. `postgresql://...`."""


def wall_clock() -> datetime:
    """Read the auditor's own clock, in UTC: the only place that does so for an audit."""
    return datetime.now(UTC)  # noqa: TID251 - this is the clock that everything else is handed


@contextmanager
def reading(state: Path) -> Iterator[Ledger]:
    """Open the ledger of a state folder to read it; an audit may be running meanwhile.

    Its database is a file in the folder, or the one whose URL stands in the environment (it may hold a password,
    so it is no option of the command line).
    """
    ledger = open_ledger(state, os.environ.get(DATABASE))
    try:
        yield ledger
    finally:
        ledger.close()


@contextmanager
def assembled(
    estate: Estate, state: Path, *, clock: Clock = wall_clock, progress: Progress = silent
) -> Iterator[Parts]:
    """Assemble an audit's parts on a state folder, which no other audit may use meanwhile.

    Raises LedgerBusyError when one does, LedgerError when the folder or its ledger cannot be used.
    """
    withheld = variables_of(estate) | {DATABASE}
    with exclusive(state), reading(state) as ledger:
        staging = ledger.staging(clock())
        try:
            yield Parts(
                gather=partial(
                    gather,
                    limits=estate.limits,
                    staging=staging,
                    seed=ledger.seed,
                    clock=clock,
                    progress=progress,
                    withheld=withheld,
                ),
                look_again=partial(look_again, limits=estate.limits, withheld=withheld),
                hash_files=partial(hash_files, limits=estate.limits, clock=clock, progress=progress, withheld=withheld),
                usable_digests=partial(usable_digests, limits=estate.limits, clock=clock, withheld=withheld),
                read_back=partial(read_back, limits=estate.limits, clock=clock, progress=progress, withheld=withheld),
                ledger=ledger,
                own=own_in(estate, state),
                work=Workspace(folder=staging, memory=estate.limits.memory, seed=ledger.seed),
                clock=clock,
            )
        finally:
            shutil.rmtree(staging, ignore_errors=True)


def own_in(estate: Estate, state: Path) -> OwnPlaces:
    """Name what of the auditor's own is to be covered: of its state folder all that the next audit builds on."""
    folder = StateFolder(path=state)
    database = None if os.environ.get(DATABASE) else folder.database
    needed = (folder.path / "seed", folder.manifests, folder.relations, folder.digests)
    return own_places(estate, database=database, dump=folder.dump, needed=needed)


def tell(
    estate: Estate, audited: Audited, ledger: Ledger, page: Callable[[], str], *, clock: Clock = wall_clock
) -> tuple[Outcome, ...]:
    """Put what every address of the estate has not been told yet into its outbox, and send all that waits there.

    Only within `exclusive`. What is not delivered, or is being sent by the daemon just now, stays in the outbox. Raises
    LedgerError.
    """
    put_tidings(estate, audited, ledger, page)
    return send_waiting(estate, ledger.outbox, clock, os.environ, at_once=True)


def put_tidings(
    estate: Estate, audited: Audited, ledger: Ledger, page: Callable[[], str], *, night: NightRecord | None = None
) -> None:
    """Put what every address of the estate has not been told yet into its outbox.

    `page` makes the page that is attached; it is called once at most. Only within `exclusive`. `night` is the daemon's:
    nights that it missed are told, too. Raises LedgerError.
    """
    keep_page = cache(lambda: ledger.outbox.keep_page(page(), audited.judged.finished))
    for target in estate.notices:
        put_news(target, estate, audited.judged, ledger.outbox, keep_page=keep_page, night=night)


def send_due(
    estate: Estate, ledger: Ledger, *, clock: Clock = wall_clock, stopping: Callable[[], bool] = lambda: False
) -> tuple[Outcome, ...]:
    """Send what is due in the outbox, nothing more once `stopping`: for who looks every minute. Raises LedgerError."""
    return send_waiting(estate, ledger.outbox, clock, os.environ, stopping=stopping)


def send_all(estate: Estate, ledger: Ledger, *, clock: Clock = wall_clock) -> tuple[Outcome, ...]:
    """Send all that waits in the outbox, also what would wait for its next try. Raises LedgerError."""
    return send_waiting(estate, ledger.outbox, clock, os.environ, at_once=True)


@dataclass(frozen=True, kw_only=True)
class Summary:
    """A weekly page that was made: what it tells, and whether this has sent it.

    `kept` is its file in the state folder; of a date whose page went out before it is the one that did.
    """

    page: str
    summed: SummedUp
    kept: Path
    sent: bool


def make_summary(
    estate: Estate, ledger: Ledger, page_of: date, *, clock: Clock = wall_clock, send: bool = True
) -> Summary:
    """Make the weekly page of a local date out of what is recorded, and put it into the outbox of all who want it.

    It goes out whatever there is to tell, once for each date: a page that went out stays as it was. Page and index are
    on the disk before it is recorded, and it is recorded together with its letters: after a crash this is called again,
    and does all of it. With `send` False it is made and kept, and goes out later. Raises LedgerError,
    LedgerBusyError where another process makes one just now, ReportError.
    """
    with ledger.summaries.making():
        summed = sum_up(estate, ledger, clock())
        page = weekly_page(
            summed.judged,
            estate,
            summed.back,
            since=summed.since,
            week_from=summed.week_from,
            now=summed.now,
            unjudged=summed.unjudged,
        )
        gone_out = page_of in ledger.summaries.made()
        kept = ledger.summaries.file_of(page_of) if gone_out else ledger.summaries.keep(page_of, page)
        letters = _weekly_letters(estate, ledger, summed, page, page_of) if send and not gone_out else None
        if not gone_out:
            made = SummaryRecord(
                page_of=page_of, made=summed.now, file=kept.name, sent=summed.now if letters is not None else None
            )
            _keep_index(estate, ledger, made)
            ledger.summaries.record(made, letters)
    return Summary(page=page, summed=summed, kept=kept, sent=letters is not None)


def _keep_index(estate: Estate, ledger: Ledger, made: SummaryRecord) -> None:
    """Write the index of all pages and of the one that is made just now: it is recorded last of all."""
    others = [record for record in ledger.summaries.all() if record.page_of != made.page_of]
    ledger.summaries.keep_index(archive_index([*others, made], estate, audits=ledger.past.audits()))


def _weekly_letters(estate: Estate, ledger: Ledger, summed: SummedUp, page: str, page_of: date) -> dict[str, Outgoing]:
    """Compose the letter to each address that wants the weekly page; page and pictures are kept for them."""
    wanting = [target for target in estate.notices if NoticeKind.SUMMARY in target.send]
    if not wanting:
        return {}
    mail = weekly_mail(
        summed.judged,
        estate,
        summed.back,
        since=summed.since,
        week_from=summed.week_from,
        now=summed.now,
        unjudged=summed.unjudged,
    )
    file = ledger.outbox.keep_page(page, summed.now)
    pictures = ledger.outbox.keep_pictures(mail.letter.pictures, summed.now)
    last, names = ledger.readers.last(), [target.name for target in wanting]
    letters = {}
    for name in names:
        others = [other for other in names if other != name]
        word = word_of(name, page_of, ledger.seed)
        message = mail.to(asked(name, others, last, word, now=summed.now, zone=estate.time_zone))
        letters[name] = outgoing(message, file, pictures, event=event_of(name, f"weekly page of {page_of}"))
    return letters


def send_past_the_outbox(estate: Estate, notice: Notice) -> tuple[Delivered | Failed, ...]:
    """Send what the auditor says of itself now, for when the ledger cannot be used. Never raises."""
    return send_notice(estate, notice, os.environ)


def try_notices(estate: Estate) -> tuple[Failed, ...]:
    """Send a trial notice to every address of the estate; return what could not be delivered."""
    outcomes = [try_target(target, estate.name, os.environ) for target in estate.notices]
    return tuple(outcome for outcome in outcomes if isinstance(outcome, Failed))
