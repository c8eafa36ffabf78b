"""Words that come from anywhere, made such that any document can show them. It loses no character."""

import re

# what no document can show: control characters but the line's end, halves of characters, and no characters
_UNSHOWN = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


def shown(text: str) -> str:
    """Return the text with what cannot be shown written as its number, as in [U+0007]."""
    return _UNSHOWN.sub(lambda found: " " if found[0] in "\t\r" else f"[U+{ord(found[0]):04X}]", text)
