"""Opens a pack as FORMAT.md describes it, with other people's cryptography, and says what is in it.

Usage: open_pack.py PACK [PASSPHRASE]. Written with cryptography 50.0.2 (ChaCha20-Poly1305, Ed25519),
argon2-cffi 25.1.0 and blake3 1.0.11 from PyPI. Fails loudly where anything does not fit.
"""

import io
import json
import struct
import sys
import zipfile

import blake3
from argon2.low_level import Type, hash_secret_raw
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

data = open(sys.argv[1], "rb").read()
locked = data.startswith(b"PrecSeal")
if locked:
    head, body = data[:80], data[80:]
    form, memory, passes, lanes = struct.unpack("<4I", head[8:24])
    assert form == 1 and head[47] == 0
    both = hash_secret_raw(
        sys.argv[2].encode(), head[24:40], time_cost=passes, memory_cost=memory, parallelism=lanes, hash_len=64, type=Type.ID
    )
    assert both[32:] == head[48:80], "the passphrase does not fit"
    size = 65536 + 16
    parts = [body[at : at + size] for at in range(0, len(body), size)]
    data = b"".join(
        ChaCha20Poly1305(both[:32]).decrypt(
            head[40:47] + struct.pack("<I", at) + bytes([at + 1 == len(parts)]), part, head
        )
        for at, part in enumerate(parts)
    )
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
