"""Signatures over a chain (Ed25519, RFC 8032) with a key that is made on this machine.

A signature says that whoever holds the key had this chain of a job up to this entry; later entries
may follow. The key lies in a file of its own in the data folder, readable by its owner alone. It
never enters the log, an export or a backup; lose it and the next signature has another fingerprint.
"""

from __future__ import annotations

import os
from contextlib import suppress
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Literal

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from assistant.errors import RecordError
from assistant.records import chain
from assistant.records.entries import Row, Signature
from assistant.records.store import Store

KEY_FILE = "signing.key"
FORMAT = "thirdhand-signature/1"


@dataclass(frozen=True)
class Signed:
    """What a job's latest signature says.

    state: "good", "bad" or "none". fingerprint: of the key, "" for "none". count: entries that it
    covers. why: what is wrong with a bad one.
    """

    state: Literal["good", "bad", "none"]
    fingerprint: str = ""
    count: int = 0
    why: str = ""


def fingerprint(public_key: str) -> str:
    """How a key is named: SHA-256 of its 32 bytes, the first 32 hex digits in groups of four."""
    digits = sha256(bytes.fromhex(public_key)).hexdigest()[:32]
    return " ".join(digits[place : place + 4] for place in range(0, 32, 4))


def signed_text(job_id: str, count: int, head: str, wall: str) -> bytes:
    """What is signed: canonical JSON of format, job, count, the hash of entry `count`, and when."""
    told = {"format": FORMAT, "job": job_id, "count": count, "head": head, "wall": wall}
    return chain.canonical(told).encode()


def key_in(data_dir: Path) -> Ed25519PrivateKey:
    """The machine's key; made on first use, for its owner alone (mode 0600).

    Raises
    ------
    RecordError
        If the file can't be made or read, others may read it, or it holds no such key.
    """
    path = data_dir / KEY_FILE
    try:
        if not path.exists():
            _make(path)
        if os.name == "posix" and path.stat().st_mode & 0o077:
            raise RecordError(
                f"{path}: others may read the signing key; take that right away (chmod 600), or "
                "move the file away and a new key is made"
            )
        key = serialization.load_pem_private_key(path.read_bytes(), password=None)
    except OSError as error:
        raise RecordError(
            f"{path}: the signing key can't be made or read: {error.strerror}; nothing was signed. "
            "Ask for the right to write there, or choose another folder with --data"
        ) from error
    except (ValueError, TypeError) as error:
        raise RecordError(
            f"{path}: this holds no signing key; move it away and a new one is made"
        ) from error
    if not isinstance(key, Ed25519PrivateKey):
        raise RecordError(f"{path}: this is no Ed25519 key; move it away and a new one is made")
    return key


def _make(path: Path) -> None:
    """A new key, whole or not at all; whoever comes second keeps the first one's."""
    text = Ed25519PrivateKey.generate().private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    draft = path.with_name(f"{path.name}.{os.getpid()}.part")
    handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with open(handle, "wb") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        with suppress(FileExistsError):
            os.link(draft, path)
    finally:
        draft.unlink()


def sign(store: Store, job_id: str, key: Ed25519PrivateKey, wall: str) -> Signature:
    """Sign a job's chain as it stands and keep the signature beside it."""
    job = store.job(job_id)
    public = key.public_key().public_bytes_raw().hex()
    text = signed_text(job_id, job["count"], job["hash"], wall)
    signature = Signature(
        count=job["count"],
        head=job["hash"],
        public_key=public,
        signature=key.sign(text).hex(),
        wall=wall,
    )
    store.sign(job_id, signature)
    return signature


def check(store: Store, job_id: str) -> Signed:
    """What the signatures of a job say: the first bad one, else the one that covers most."""
    signatures = store.signatures(job_id)
    rows = {row.seq: row for row in store.rows(job_id)}
    found = [_checked(job_id, each, rows) for each in signatures]
    bad = [each for each in found if each.state == "bad"]
    return (bad or found or [Signed("none")])[0]


def _checked(job_id: str, signature: Signature, rows: dict[int, Row]) -> Signed:
    name, count = "", 0
    try:
        count = int(signature["count"])
        name = fingerprint(signature["public_key"])
        key = Ed25519PublicKey.from_public_bytes(_bytes(signature["public_key"]))
        text = signed_text(job_id, count, signature["head"], signature["wall"])
        key.verify(_bytes(signature["signature"]), text)
    except (InvalidSignature, ValueError, TypeError, RecordError):
        return Signed("bad", name, count, "the signature doesn't fit its key, job and chain head")
    if count not in rows or rows[count].hash != signature["head"]:
        return Signed("bad", name, count, f"entry {count} is not the one that was signed")
    return Signed("good", name, count)


def _bytes(digits: str) -> bytes:
    """Bytes of hex as `sign` writes it; another spelling of the same number is a change."""
    found = bytes.fromhex(digits)
    if found.hex() != digits:
        raise ValueError("not as it was written")
    return found
