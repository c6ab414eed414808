"""Texts of meta events. A file does not declare their character set; the bytes are written back as read."""

from __future__ import annotations


def readable(text: str) -> str:
    """Return a text as a person reads it: UTF-8 where the bytes are valid UTF-8, else Latin-1.

    `text` is as the parser gives it, one character a byte. Control characters are dropped.
    """
    raw = text.encode("latin-1", "replace")
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return "".join(
        " " if char in "\t\r\n" else char for char in text if char.isprintable() or char in "\t\r\n"
    ).strip()
