"""The one composition root: hands each part its collaborators. Nothing else knows all concrete parts."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import cache, partial
from pathlib import Path

from coverage_audit.audits.audit import Audited
from coverage_audit.audits.parts import Parts
from coverage_audit.collectors.gather import gather, look_again
from coverage_audit.collectors.own_places import own_places
from coverage_audit.comparison.types import Workspace
from coverage_audit.estate.model import Device, Estate
from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.own import OwnPlaces
from coverage_audit.evidence.progress import Progress, silent
from coverage_audit.ledger.folder import StateFolder
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.opening import exclusive, open_ledger
from coverage_audit.ledger.past_record import NightRecord
from coverage_audit.notices.delivery import Delivered, Failed
from coverage_audit.notices.sending import Outcome, send_waiting
from coverage_audit.notices.telling import Notice, put_news, send_notice, try_target

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
                ),
                look_again=partial(_look_again, estate),
                ledger=ledger,
                own=_own(estate, StateFolder(path=state)),
                work=Workspace(folder=staging, memory=estate.limits.memory, seed=ledger.seed),
                clock=clock,
            )
        finally:
            shutil.rmtree(staging, ignore_errors=True)


def _own(estate: Estate, folder: StateFolder) -> OwnPlaces:
    """Name what of the auditor's own is to be covered: of its state folder all that the next audit builds on."""
    database = None if os.environ.get(DATABASE) else folder.database
    needed = (folder.path / "seed", folder.manifests, folder.relations)
    return own_places(estate, database=database, dump=folder.dump, needed=needed)


def _look_again(estate: Estate, device: Device, root: str, paths: Sequence[bytes]) -> tuple[SecondLook, ...]:
    return look_again(device, root, paths, limits=estate.limits)


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


def send_past_the_outbox(estate: Estate, notice: Notice) -> tuple[Delivered | Failed, ...]:
    """Send what the auditor says of itself now, for when the ledger cannot be used. Never raises."""
    return send_notice(estate, notice, os.environ)


def try_notices(estate: Estate) -> tuple[Failed, ...]:
    """Send a trial notice to every address of the estate; return what could not be delivered."""
    outcomes = [try_target(target, estate.name, os.environ) for target in estate.notices]
    return tuple(outcome for outcome in outcomes if isinstance(outcome, Failed))
