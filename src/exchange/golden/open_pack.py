"""Opens a pack as FORMAT.md describes it, with other people's cryptography, and says what is in it.

Usage: open_pack.py PACK [PASSPHRASE, or the receiving key's 64 hex digits]. Written with cryptography
50.0.2 (ChaCha20-Poly1305, Ed25519, X25519, HPKE), argon2-cffi 25.1.0 and blake3 1.0.11 from PyPI. Fails loudly where anything does not fit.
"""

import io
import json
import struct
import sys
import zipfile

import blake3
from argon2.low_level import Type, hash_secret_raw
from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives import hpke
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

data = open(sys.argv[1], "rb").read()
locked = data.startswith(b"PrecSeal")


def opened(head, body, start, key):
    """The parts after a head, each bound to its place and the last one to being last."""
    size = 65536 + 16
    parts = [body[at : at + size] for at in range(0, len(body), size)]
    return b"".join(
        ChaCha20Poly1305(key).decrypt(start + struct.pack("<I", at) + bytes([at + 1 == len(parts)]), part, head)
        for at, part in enumerate(parts)
    )


def unwrapped(head, private):
    """The pack's key out of the stanza that is for this private key."""
    suite = hpke.Suite(hpke.KEM.X25519, hpke.KDF.HKDF_SHA256, hpke.AEAD.CHACHA20_POLY1305)
    for at in range(24, len(head), 80):
        try:
            return suite.decrypt(head[at : at + 80], private, b"precedent pack for receivers\0" + head[:24])
        except InvalidTag:
            continue
    raise SystemExit("not for this key")


if locked and struct.unpack("<I", data[8:12]) == (2,):
    end = 24 + 80 * struct.unpack("<I", data[12:16])[0]
    assert data[23] == 0
    private = X25519PrivateKey.from_private_bytes(bytes.fromhex(sys.argv[2]))
    data = opened(data[:end], data[end:], data[16:23], unwrapped(data[:end], private))
elif locked:
    head, body = data[:80], data[80:]
    form, memory, passes, lanes = struct.unpack("<4I", head[8:24])
    assert form == 1 and head[47] == 0
    both = hash_secret_raw(
        sys.argv[2].encode(), head[24:40], time_cost=passes, memory_cost=memory, parallelism=lanes, hash_len=64, type=Type.ID
    )
    assert both[32:] == head[48:80], "the passphrase does not fit"
    data = opened(head, body, head[40:47], both[:32])
archive = zipfile.ZipFile(io.BytesIO(data))
text = archive.read("manifest.json")
manifest = json.loads(text)
lines = archive.read("cases.jsonl")
assert blake3.blake3(lines).hexdigest() == manifest["entries"]["cases.jsonl"]["blake3"]
assert len(lines) == manifest["entries"]["cases.jsonl"]["bytes"]
signer = manifest.get("signer")
if signer:
    key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(signer))
    key.verify(archive.read("signature"), b"precedent pack\0" + text)
kinds = [next(iter(json.loads(line))) for line in lines.splitlines()]
print(json.dumps({"locked": locked, "id": manifest["id"], "signer": signer, "cases": kinds.count("case")}))
