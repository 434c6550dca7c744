"""The errors that this program raises: one root, one child a room.

Each carries a message that a person can act on. The command line translates them once
(`coverage_audit.cli`), by the exit status that stands on the class; nothing else catches the root.
Exit statuses are those of BSD sysexits.h where it has one.
"""

from __future__ import annotations

EX_CONFORMING = 0
EX_NONCONFORMING = 1
EX_USAGE = 64
EX_EVIDENCE_MISSING = 69
EX_SOFTWARE = 70
EX_CANTCREAT = 73
EX_IOERR = 74
EX_ANOTHER_AUDIT = 75
EX_NOTICE_FAILED = 76
EX_ESTATE_WRONG = 78


class CoverageAuditError(Exception):
    """The root. `exit_status` is what the command line ends with when it is not caught before."""

    exit_status: int = EX_SOFTWARE


class UsageError(CoverageAuditError):
    """The words of a command make no sense (EX_USAGE)."""

    exit_status = EX_USAGE


class EstateError(CoverageAuditError):
    """The estate file is wrong (EX_CONFIG); the message lists every mistake with line and column."""

    exit_status = EX_ESTATE_WRONG


class EvidenceError(CoverageAuditError):
    """A manifest cannot be written, read or trusted."""

    exit_status = EX_IOERR


class CollectionError(CoverageAuditError):
    """A box could not be asked. Becomes a gap in the evidence, never an empty answer."""

    exit_status = EX_EVIDENCE_MISSING


class ComparisonError(CoverageAuditError):
    """Two manifests could not be compared (memory, disk, a file that changed underneath)."""

    exit_status = EX_IOERR


class LedgerError(CoverageAuditError):
    """The ledger cannot be opened, read or written."""

    exit_status = EX_IOERR


class LedgerBusyError(LedgerError):
    """Another audit is running on this state folder (EX_TEMPFAIL)."""

    exit_status = EX_ANOTHER_AUDIT


class ReportError(CoverageAuditError):
    """A page or a JSON file could not be written (EX_CANTCREAT)."""

    exit_status = EX_CANTCREAT


class NoticeError(CoverageAuditError):
    """A notice could not be delivered (EX_PROTOCOL of sysexits.h; EX_TEMPFAIL is taken)."""

    exit_status = EX_NOTICE_FAILED
