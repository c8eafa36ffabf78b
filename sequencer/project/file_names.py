"""A part of a file's name, made of names that people chose: it is one on every system, and stays in its folder."""

import re

# what Windows has no file for (`:` would write beside the file, unseen), a path's own, and what no name may hold
_NO_NAME = re.compile(r'[\s/\\:*?"<>|]')
_MOST_BYTES = 100  # so that two of them, a number and what is put before and behind stay below 255
# what Windows takes for a device, whatever stands behind a full stop. Source: from memory
_DEVICE = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\.|$)", re.IGNORECASE)


def file_name(name: str, most: int = _MOST_BYTES) -> str:
    """Return the name as a file's: what a file cannot be called is a hyphen. Unit: `most` bytes, at which it is cut."""
    plain = "".join(one if one.isprintable() else "-" for one in _NO_NAME.sub("-", name))
    short = plain.encode("utf-8", "ignore")[:most].decode("utf-8", "ignore")
    return f"-{short}" if _DEVICE.match(short) else short
