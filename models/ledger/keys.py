"""The key of a book: an Ed25519 pair (RFC 8032) whose private half lies in a file beside the book, never in it.

Whoever can write into the database but cannot read that file can make no
signed head.  The library that signs is loaded with the first signature.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from models.errors import KeyFileError
from models.whole_files import why_not, write_new


@dataclass(frozen=True, slots=True)
class Signer:
    """A private key that was read, with its public half (32 bytes)."""

    public_key: bytes
    _private: object

    def sign(self, data: bytes) -> bytes:
        """Sign bytes; gives 64 bytes."""
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

        if not isinstance(self._private, Ed25519PrivateKey):
            raise TypeError("not an Ed25519 key")
        return self._private.sign(data)


def make_key(path: Path) -> Signer:
    """Make a new key file that only its owner can read; one that is there already is taken as it is.

    Raises
    ------
    KeyFileError
        If it cannot be written or read.
    """
    if not path.exists():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            write_key_file(path, new_key()[0])
        except OSError as fault:
            raise KeyFileError(
                f"The key of the book cannot be written to {path}: {why_not(fault)}.",
                remedy="Name a place that can be written with the environment variable DRIFTBOOK_KEY.",
            ) from fault
    found = read_signer(path)
    if found is None:
        raise KeyFileError(f"The key file {path} cannot be read.", remedy="Look at the rights of the file.")
    return found


def new_key() -> tuple[bytes, Signer]:
    """Make a new key; gives what its file holds, and the key."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    private = Ed25519PrivateKey.generate()
    text = private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    return text, Signer(private.public_key().public_bytes_raw(), private)


def write_key_file(path: Path, text: bytes) -> None:
    """Write a new key file for its owner's eyes; half of one would be taken for the key the next time, and is none.

    Parameters
    ----------
    path : pathlib.Path
        Where it goes. [unitless]
    text : bytes
        The key, as its file holds it. [unitless]

    Raises
    ------
    FileExistsError
        If anything is there.
    OSError
        If it cannot be written; nothing of it is left.
    """
    write_new(path, text, 0o600)


def read_signer(path: Path) -> Signer | None:
    """Read the key of a book; ``None`` if there is no file or it may not be read.

    Raises
    ------
    KeyFileError
        If the file is there and is no Ed25519 key.
    """
    try:
        stamp = path.stat()
        return _read(path, stamp.st_mtime_ns, stamp.st_size)
    except (FileNotFoundError, NotADirectoryError, PermissionError):
        return None


@lru_cache(maxsize=16)
def _read(path: Path, _changed: int, _size: int) -> Signer:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat, load_pem_private_key

    try:
        private = load_pem_private_key(path.read_bytes(), password=None)
    except ValueError as fault:
        private = None
        cause: ValueError | None = fault
    else:
        cause = None
    if not isinstance(private, Ed25519PrivateKey):
        raise KeyFileError(
            f"The file {path} is no key of a book (an Ed25519 key in PEM is expected).",
            remedy='Put the right file back, or set another key: driftbook key --set --why "…"',
        ) from cause
    return Signer(private.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw), private)


def signature_holds(public_key: bytes, signature: bytes, data: bytes) -> bool:
    """Tell whether a signature is that of a key under some bytes.

    Parameters
    ----------
    public_key : bytes
        Ed25519 public key, 32 bytes. [unitless]
    signature : bytes
        64 bytes. [unitless]
    data : bytes
        What was signed. [unitless]
    """
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        Ed25519PublicKey.from_public_bytes(public_key).verify(signature, data)
    except (InvalidSignature, ValueError):
        return False
    return True
