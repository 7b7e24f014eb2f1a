"""Sentences of NMEA 0183 with their checksum: the exclusive or of all between $ and *."""

from functools import reduce
from operator import xor


def sentence(body: str) -> bytes:
    """Return a whole sentence, its line end included."""
    return f"${body}*{reduce(xor, body.encode()):02X}\r\n".encode()
