"""Signed notes and witness cosignatures by somebody else's Ed25519 (pyca/cryptography), read and written by the published
formats alone: https://c2sp.org/signed-note and https://c2sp.org/tlog-cosignature.

    cosigned.py check NOTE VKEY...          prints, as JSON, for each key: its name, and when it signed (0: not a witness)
    cosigned.py cosign NOTE NAME SEED TIME  prints a verifier key, then the note with one more cosignature
    cosigned.py id VKEY                     ends with 0 where the identifier in a key is the one its bytes give
"""

import base64
import hashlib
import json
import sys

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

LEDGER, WITNESS = 1, 4
DASH = "\u2014 "


def identifier(name, kind, key):
    """The first four bytes of SHA-256 of the name, a newline, the algorithm's byte, and the key."""
    return hashlib.sha256(name.encode() + b"\n" + bytes([kind]) + key).digest()[:4]


def vkey(text):
    name, ident, rest = text.split("+", 2)
    raw = base64.b64decode(rest, validate=True)
    kind, key = raw[0], raw[1:]
    assert len(key) == 32 and kind in (LEDGER, WITNESS), text
    assert identifier(name, kind, key).hex() == ident, f"the identifier of {name} is another"
    return name, kind, key


def parts(note):
    """The text with its last newline, and the signatures: name, identifier, bytes behind it."""
    text, _, rest = note.rpartition("\n\n")
    assert rest.endswith("\n") and text, "no note"
    lines = []
    for line in rest[:-1].split("\n"):
        assert line.startswith(DASH), line
        name, _, encoded = line[len(DASH):].partition(" ")
        raw = base64.b64decode(encoded, validate=True)
        lines.append((name, raw[:4], raw[4:]))
    return text + "\n", lines


def message(time, text):
    return f"cosignature/v1\ntime {time}\n{text}".encode()


def check(note, keys):
    text, lines = parts(note)
    found = []
    for name, kind, key in map(vkey, keys):
        ident = identifier(name, kind, key)
        mine = [rest for n, i, rest in lines if (n, i) == (name, ident)]
        assert len(mine) == 1, f"{len(mine)} signatures of {name}"
        public, time, signature, said = Ed25519PublicKey.from_public_bytes(key), 0, mine[0], text.encode()
        if kind == WITNESS:
            assert len(mine[0]) == 8 + 64, f"{len(mine[0])} bytes"
            time, signature = int.from_bytes(mine[0][:8], "big"), mine[0][8:]
            said = message(time, text)
        public.verify(signature, said)
        found.append({"name": name, "time": time})
    return found


def cosign(note, name, seed, time):
    text, _ = parts(note)
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(seed))
    public = key.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw)
    ident = identifier(name, WITNESS, public)
    raw = ident + time.to_bytes(8, "big") + key.sign(message(time, text))
    shown = base64.b64encode(bytes([WITNESS]) + public).decode()
    print(f"{name}+{ident.hex()}+{shown}")
    sys.stdout.write(f"{note}{DASH}{name} {base64.b64encode(raw).decode()}\n")


def main():
    act, rest = sys.argv[1], sys.argv[2:]
    if act == "id":
        vkey(rest[0])
        return 0
    with open(rest[0], encoding="utf-8", newline="") as file:
        note = file.read()
    if act == "cosign":
        cosign(note, rest[1], rest[2], int(rest[3]))
        return 0
    try:
        print(json.dumps(check(note, rest[1:])))
    except (AssertionError, InvalidSignature, ValueError) as e:
        print(repr(e), file=sys.stderr)
        return 2
    return 0


sys.exit(main())
