"""Delivery: the one door to apprise. Each notice goes out from a process of its own, which may be given up.

The library logs addresses, waits on threads that a slow server can hold for ever, and takes a while to import. In
a short-lived child none of that matters: what it logs goes nowhere, and past the deadline it is ended. The
address reaches it through a pipe, never on its command line, and only words of ours come back.
"""

from __future__ import annotations

import multiprocessing
from contextlib import closing
from dataclasses import dataclass

from coverage_audit.notices.delivery.child import Errand, Reply, send_and_report
from coverage_audit.notices.message import Message

WAIT_S = 60
"""How long one delivery may take, by its own process."""

GRACE_S = 15
"""How much longer that process is waited for (it starts, and imports) before it is ended."""


@dataclass(frozen=True, kw_only=True)
class Delivered:
    """The service took it, for all recipients."""

    target: str


@dataclass(frozen=True, kw_only=True)
class Failed:
    """It was not delivered to all of its recipients; `reason` holds nothing of the address.

    `served` are digests of those recipients that it did reach, now or earlier: the next try leaves them out.
    """

    target: str
    reason: str
    served: frozenset[str] = frozenset()


def deliver(
    target_name: str,
    url: str,
    message: Message,
    *,
    event: str | None = None,
    served: frozenset[str] = frozenset(),
    wait_s: float = WAIT_S,
) -> Delivered | Failed:
    """Send a message to one address, as mail with the page attached or as a short push message. Never raises.

    `event` names it: in a mail as its Message-ID, elsewhere as the service allows; a further try of the same event is
    known by it. `served` are the recipients that an earlier try has reached.
    """
    errand = Errand(url=url, message=message, event=event, served=served, wait_s=wait_s)
    reply = _in_a_child(errand)
    if reply.reason is None:
        return Delivered(target=target_name)
    return Failed(target=target_name, reason=reply.reason, served=served | reply.served)


def _in_a_child(errand: Errand) -> Reply:
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe(duplex=False)
    child = context.Process(target=send_and_report, args=(there, errand), daemon=True)
    child.start()
    there.close()
    try:
        with closing(here):
            if not here.poll(errand.wait_s + GRACE_S):
                return Reply(reason=f"no answer within {errand.wait_s:g} s")
            reply = here.recv()
            return reply if isinstance(reply, Reply) else Reply(reason="it said nothing that can be understood")
    except EOFError:
        return Reply(reason="the process that sends notices ended before it had sent it")
    finally:
        child.kill()
        child.join()
        child.close()
