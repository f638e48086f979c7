"""Digests that tell apart whatever is not the same, however it is cut into pieces."""

from collections.abc import Iterable
from hashlib import sha256


def digest_of(pieces: Iterable[str | bytes]) -> str:
    """The SHA-256 digest, in hexadecimal, of some pieces in their order.

    Every piece goes in behind its length, so that no other row of pieces reads the same: ("ab", "c") and ("a", "bc")
    differ.  Text goes in as UTF-8.
    """
    digest = sha256()
    for piece in pieces:
        content = piece.encode() if isinstance(piece, str) else piece
        digest.update(len(content).to_bytes(8, "big") + content)
    return digest.hexdigest()
