"""Coverage Audit: says, with proof, whether each body of data exists in enough copies."""

from __future__ import annotations

import os

# Arrow's usual allocator keeps what its threads let go: three times the memory that comparing ever uses. This one
# gives it back. Arrow asks for the name once, when it is first imported; what the owner sets comes first.
os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "jemalloc")
