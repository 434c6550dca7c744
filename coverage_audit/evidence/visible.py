"""Names as text that is safe to show: on a terminal, in a page, in the header of a mail.

File names are hostile bytes: they can hold newlines, terminal escapes, marks that turn the direction of
writing, bytes that are no UTF-8. Every output shows them through this one function, so that the same name
looks the same everywhere and never acts on the reader's terminal.
"""

from __future__ import annotations

from typing import Final

_SHORT: Final = {"\n": r"\n", "\r": r"\r", "\t": r"\t"}


def visible(value: bytes | str) -> str:
    r"""Return `value` with everything that does not print replaced by a visible escape.

    Bytes that are no UTF-8 (also as surrogates out of `os.fsdecode`) become `\xNN`, control, format and
    separator characters `\n`, `\r`, `\t`, `\xNN` or `\u{NNNN}`. What is left is printable in Unicode's
    sense. Text that is already visible stays as it is, so it may be applied twice; a backslash in a name is
    therefore not doubled.
    """
    text = value.decode("utf-8", "surrogateescape") if isinstance(value, bytes) else value
    if text.isprintable():
        return text
    return "".join(letter if letter.isprintable() else _escaped(letter) for letter in text)


def _escaped(letter: str) -> str:
    if letter in _SHORT:
        return _SHORT[letter]
    code = ord(letter)
    if 0xDC80 <= code <= 0xDCFF:  # a byte that could not be decoded
        return f"\\x{code - 0xDC00:02x}"
    return f"\\x{code:02x}" if code < 0x80 else f"\\u{{{code:04X}}}"
