"""What the shapes refuse, said in the owner's words at the right place of the file."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from pydantic import ValidationError

from coverage_audit.estate.mistakes import Mistakes, did_you_mean, shown
from coverage_audit.estate.nodes import Items, Keys, Node, Scalar, find
from coverage_audit.estate.schema import homes_of, keys_at

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

_KINDS: Final = {
    "bool_type": ("true or false", "write it without quotes; yes and on are text"),
    "int_type": ("a whole number", "write it without quotes"),
    "string_type": ("text", "put it in quotes"),
    "dict_type": ("a mapping", "write 'key: value' below it"),
    "model_type": ("a mapping", "write 'key: value' below it"),
    "list_type": ("a list", "write [one, two] or one '- item' a line"),
}

_ADDRESS_KEYS: Final = frozenset({"url", "urls", "address", "addresses", "to", "target", "mail", "email", "webhook"})

_OF_ADDRESSES: Final = {("notices",), ("alive",)}
_NO_ADDRESS_HERE: Final = "an address must not stand in the estate (put it into a file and name that: url_file)"


def note_refusals(error: ValidationError, root: Node, mistakes: Mistakes) -> None:
    """Note everything that the shapes refused; what was noted already where it was read is left out."""
    for detail in error.errors(include_url=False):
        found = find(root, detail["loc"])
        if isinstance(found.node, Scalar) and found.node.unread:
            continue
        say = _SAYINGS.get(detail["type"], _said_otherwise)
        spot = found.key_spot if detail["type"] in _AT_THE_KEY or detail["loc"][-1:] == ("[key]",) else found.node.spot
        mistakes.add(spot, say(detail, found.node))


def _unknown_key(detail: ErrorDetails, _: Node) -> str:
    *way, key = detail["loc"]
    real_way = tuple(part for part in way if not (isinstance(part, str) and part.startswith("(")))
    known = keys_at(real_way)
    if real_way[:1] in _OF_ADDRESSES and str(key) in _ADDRESS_KEYS:
        return f"{shown(str(key))}: {_NO_ADDRESS_HERE}"
    mend = did_you_mean(str(key), known)
    homes = homes_of(str(key))
    if homes and not mend.startswith("did you mean"):
        mend = f"it is a key of a {' or a '.join(homes)}; {mend}"
    return f"unknown key {shown(str(key))} ({mend})"


def _missing(detail: ErrorDetails, _: Node) -> str:
    return f"{shown(str(detail['loc'][-1]))} is missing (add it here)"


def _own_words(detail: ErrorDetails, _: Node) -> str:
    return str(detail["ctx"]["error"])


def _wrong_kind(detail: ErrorDetails, node: Node) -> str:
    wanted, mend = _KINDS[detail["type"]]
    here = "a mapping" if isinstance(node, Keys) else "a list" if isinstance(node, Items) else shown(str(node.value))
    if detail["loc"][:1] in _OF_ADDRESSES and isinstance(node, Scalar):
        if detail["type"] in {"dict_type", "model_type"}:
            return _NO_ADDRESS_HERE
        here = "something else"  # it may be an address with a password
    if detail["loc"][-2:-1] == ("copies",):
        mend = "write '- at: device:volume/path'"
    return f"{wanted} is wanted here, not {here} ({mend})"


def _out_of_bounds(detail: ErrorDetails, node: Node) -> str:
    value = node.value if isinstance(node, Scalar) else None
    bounds = detail["ctx"]
    bound = f"at least {bounds['ge']}" if "ge" in bounds else f"at most {bounds['le']}"
    return f"{value} is out of bounds (write {bound})"


def _too_short(detail: ErrorDetails, _: Node) -> str:
    key = str(detail["loc"][-1])
    return f"{shown(key)} is empty (there must be at least one)"


def _said_otherwise(detail: ErrorDetails, _: Node) -> str:
    return f"{detail['msg']} (see config/estate.schema.json)"


_SAYINGS: Final[dict[str, Callable[[ErrorDetails, Node], str]]] = {
    "extra_forbidden": _unknown_key,
    "missing": _missing,
    "value_error": _own_words,
    "greater_than_equal": _out_of_bounds,
    "less_than_equal": _out_of_bounds,
    "too_short": _too_short,
    **dict.fromkeys(_KINDS, _wrong_kind),
}

_AT_THE_KEY: Final = frozenset({"extra_forbidden", "missing", "too_short"})
