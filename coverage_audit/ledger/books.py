"""The books of a ledger: each remembers one matter, all of them in one database and one state folder."""

from __future__ import annotations

from sqlalchemy import Engine

from coverage_audit.ledger.digest_book import DigestBook
from coverage_audit.ledger.drill_book import DrillBook
from coverage_audit.ledger.estates_kept import EstatesKept
from coverage_audit.ledger.folder import StateFolder
from coverage_audit.ledger.night_book import NightBook
from coverage_audit.ledger.outbox import Outbox
from coverage_audit.ledger.past import Past
from coverage_audit.ledger.present import Present
from coverage_audit.ledger.reader_book import ReaderBook
from coverage_audit.ledger.retirement_book import RetirementBook
from coverage_audit.ledger.summary_book import SummaryBook
from coverage_audit.ledger.transactions import Transactions
from coverage_audit.ledger.turnover_book import TurnoverBook
from coverage_audit.ledger.verification_book import VerificationBook
from coverage_audit.ledger.waiver_book import WaiverBook


class Books(Transactions):
    """What is to be told (`outbox`), what was accepted for a while (`waivers`), looks back (`past`, `estates`), others.

    `drills` is what was read back out of copies, `verifications` what their content was found to be, `digests` what the
    content of each file was, `turnovers` what originals and mirrors lost and rewrote.
    """

    def __init__(self, *, engine: Engine, folder: StateFolder, where: str) -> None:
        super().__init__(engine, where)
        self.outbox = Outbox(engine, folder, where)
        self.waivers = WaiverBook(engine, where)
        self.nights = NightBook(engine, where)
        self.past = Past(engine, where)
        self.summaries = SummaryBook(engine, folder, where)
        self.readers = ReaderBook(engine, where)
        self.estates = EstatesKept(engine, where)
        self.present = Present(engine, folder, where)
        self.drills = DrillBook(engine, where)
        self.verifications = VerificationBook(engine, where)
        self.digests = DigestBook(folder)
        self.retirements = RetirementBook(folder)
        self.turnovers = TurnoverBook(engine, folder, where)
