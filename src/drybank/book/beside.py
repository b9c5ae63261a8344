"""What lies beside the chain and can be erased: names, phones, addresses, photos, a customer's own words.

The chain holds a salted hash only. The salt is 32 random bytes kept with the content: once both are erased, nobody can find
out by trying names or numbers what the hash stood for.
"""

from __future__ import annotations

import hashlib
import hmac
from typing import Any, Literal, get_args

from drybank.records.errors import InputError

What = Literal["name", "phone", "address", "photo", "words"]
SALT_BYTES = 32
LARGEST_BYTES = 20_000_000


def salted_hash(salt: bytes, content: bytes) -> str:
    return hashlib.sha256(salt + content).hexdigest()


def is_true_to(sha256: str, salt: bytes, content: bytes) -> bool:
    """Whether salt and content are what the chain's hash stands for."""
    return hmac.compare_digest(salted_hash(salt, content), sha256)


def content_bytes(what: str, content: str | bytes) -> bytes:
    """The bytes to keep; refuses an unknown sort of thing, nothing at all, or too much."""
    if what not in get_args(What):
        raise InputError(f"“{what}” is not kept beside the book.", allowed=", ".join(get_args(What)))
    raw = content.encode() if isinstance(content, str) else bytes(content)
    if not 0 < len(raw) <= LARGEST_BYTES:
        raise InputError(f"the {what} has {len(raw)} bytes.", allowed=f"1 to {LARGEST_BYTES}")
    return raw


def thing(sha256: str, what: What, salt: bytes, content: bytes) -> dict[str, Any]:
    """The row of something whose salt was made elsewhere (on a phone); refuses what its hash does not stand for."""
    raw = content_bytes(what, content)
    if len(salt) != SALT_BYTES:
        raise InputError(f"the salt of the {what} has {len(salt)} bytes.", allowed=f"{SALT_BYTES} random bytes")
    if not is_true_to(sha256, salt, raw):
        raise InputError(
            f"the {what} is not what its hash stands for.", mend="Hash the salt followed by the bytes, with SHA-256."
        )
    return {"sha256": sha256, "what": what, "is_text": what != "photo", "salt": salt, "content": raw}
