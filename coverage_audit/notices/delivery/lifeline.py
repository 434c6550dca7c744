"""A process that sends ends with the one that waits for it, however that one ends.

Left alone it would go on for as long as a slow server lets it, and might deliver a second time what its successor has
already sent again.
"""

from __future__ import annotations

import os
import select
import threading
from multiprocessing.connection import Connection


def end_without_reader(pipe: Connection) -> None:
    """From now on, end this process at once when nobody is left who could read from a pipe to which it writes."""
    poller = select.poll()
    poller.register(pipe.fileno(), 0)  # poll(2): that its reader is gone is always told (POLLERR)

    def watch() -> None:
        poller.poll()
        os._exit(1)

    threading.Thread(target=watch, name="lifeline", daemon=True).start()
