"""All records checked from their stored bytes: every chain, row, commitment, signature and PDF.

The model: each chain's entries are replayed in order, which gives what every kept row must be now; then the rows are
read, by value and type as they are stored, and compared (`rows`); then what is worked out from records, kept and
acted on is worked out again (`worked_out`), and what the framework keeps is compared with the code (`framework`);
last, no row and no entry may be there that no chain has, and the checkpoints hold for the service's keys
(`checkpoints`). The worker does that in steps, each in a snapshot of its own; at the end it checks again what has
grown meanwhile. Only formats are shared with the writers (reels/domain/ledger.py, inspections/domain/record.py,
keying.commitment, reels.models.columns), so that a fault of theirs does not hide itself. In memory: the rows of one
chain, and eight bytes for every row there is. No second database is made from the chains: every stored value that a
chain tells is compared with it, so what queries read is what the chains tell, and a query over a copy could only say
the same again.

It finds what was changed, added or removed without a history that says so; in a night of a large fleet not every
history is replayed (`seen`). Whoever can rewrite a whole history is only found out by a checkpoint that is kept
elsewhere. Who finds what, table by table, is in deploy/handbook/records.md.
"""

from reports.services.verification.rows import UNRECORDED
from reports.services.verification.run import (
    AT_ONCE,
    CheckUnderWay,
    VerificationResult,
    check_more,
    check_records,
    end_check,
    guard_break,
)
from reports.services.verification.seen import Night

__all__ = [
    "AT_ONCE",
    "UNRECORDED",
    "CheckUnderWay",
    "Night",
    "VerificationResult",
    "check_more",
    "check_records",
    "end_check",
    "guard_break",
]
