"""A verifier of disclosure bundles written from src/ledger/FORMAT.md alone.

Python's standard library and the PyPI package "cryptography". Each line of input names a bundle and a key (a tab between
them); each line of output says "accepted", or "refused" and why. It knows nothing of the program that made them.
"""
import base64
import hashlib
import hmac
import json
import re
import sys
import zipfile
from datetime import datetime

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

UUID = r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}"
KINDS = "person|place|case|mark|item|package|count"


class Refused(Exception):
    pass


def need(fits, why):
    if not fits:
        raise Refused(why)


def is_(pattern, text):
    return isinstance(text, str) and re.fullmatch(pattern, text, re.ASCII) is not None


def canonical(value):
    """RFC 8785 for the values that the format knows: no fractions, so only order, layout and escapes matter."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list):
        return "[" + ",".join(canonical(v) for v in value) + "]"
    if isinstance(value, dict):
        keys = sorted(value, key=lambda k: k.encode("utf-16-be"))
        return "{" + ",".join(canonical(k) + ":" + canonical(value[k]) for k in keys) + "}"
    raise Refused("a value that the format does not know")


def strict(text):
    value = json.loads(text)
    need(canonical(value) == text, "JSON that is not canonical")
    return value


def is_count(n):
    return isinstance(n, int) and not isinstance(n, bool) and 1 <= n < 2**53


def is_time(text, utc):
    zone = "Z" if utc else r"[+-]\d\d:\d\d"
    if not is_(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}" + zone, text) or text.endswith("-00:00"):
        return False
    try:
        datetime.fromisoformat(text.replace("Z", "+00:00"))
    except ValueError:
        return False
    return utc or int(text[-2:]) < 60


def header(text):
    h = strict(text)
    need(isinstance(h, dict), "a header that is no object")
    keys = "actor attested case claimed_at id kind payload_root recorded_at rules seq source touches v".split()
    need(sorted(h) == keys, "a header without its keys")
    need(is_(f"({UUID})?", h["actor"]) and is_(f"({UUID})?", h["case"]) and is_(UUID, h["id"]), "an identifier")
    need(h["attested"] in "session password passkey one-time-code paper token none".split(), "attested")
    need(h["source"] in "desk field import api command-line system".split(), "source")
    need(is_(r"[a-z][a-z0-9._-]{0,63}", h["kind"]) and is_("[0-9a-f]{64}", h["payload_root"]), "kind or root")
    need(is_time(h["claimed_at"], False) and is_time(h["recorded_at"], True), "a time")
    need(is_(r"[ !#-\[\]-~]{0,128}", h["rules"]) and is_count(h["seq"]), "rules or seq")
    need(h["v"] == 1 and not isinstance(h["v"], bool), "the version")
    touches = h["touches"]
    need(isinstance(touches, list) and len(touches) <= 4096, "touches")
    for t in touches:
        need(isinstance(t, dict) and sorted(t) == ["n", "subject"], "a touch")
        need(is_count(t["n"]) and is_(f"({KINDS}):{UUID}", t["subject"]), "a touch")
    need(len({t["subject"] for t in touches}) == len(touches), "a subject touched twice")
    return h


def is_value(v, depth=0):
    if isinstance(v, (str, bool)):
        return True
    if isinstance(v, int):
        return -(2**53) < v < 2**53
    if depth == 3:
        return False
    if isinstance(v, list):
        return all(is_value(x, depth + 1) for x in v)
    if isinstance(v, dict):
        return all(is_(r"[ !#-\[\]-~]{1,128}", k) and is_value(x, depth + 1) for k, x in v.items())
    return False


def is_name(name):
    return is_(r"[a-z][a-z0-9_]{0,63}", name)


def payload_root(line):
    fields = line.get("fields")
    need(isinstance(fields, dict) and all(is_name(k) and is_value(v) for k, v in fields.items()), "fields")
    need(len(canonical(fields).encode()) <= 262144, "fields beyond their bounds")
    if sorted(line) == ["fields", "header", "salt"]:
        need(is_("[0-9a-f]{32}", line["salt"]), "a salt")
        salt = bytes.fromhex(line["salt"])
        salts = {k: hmac.digest(salt, k.encode(), "sha256") for k in fields}
        digests = {}
    else:
        need(sorted(line) == ["digests", "fields", "header", "salts"], "a line without its parts")
        digests, given = line["digests"], line["salts"]
        need(isinstance(digests, dict) and isinstance(given, dict) and sorted(given) == sorted(fields), "salts")
        need(all(is_name(k) and is_("[0-9a-f]{64}", d) for k, d in digests.items()), "digests")
        need(not set(digests) & set(fields), "a field shown and withheld")
        need(all(is_("[0-9a-f]{64}", s) for s in given.values()), "salts")
        salts = {k: bytes.fromhex(s) for k, s in given.items()}
        digests = dict(digests)
    for k, v in fields.items():
        digests[k] = hashlib.sha256(salts[k] + canonical(v).encode()).hexdigest()
    need(len(digests) <= 200, "too many fields")
    return hashlib.sha256(canonical(digests).encode()).hexdigest()


def node(left, right):
    return hashlib.sha256(b"\x01" + left + right).digest()


def included(leaf, m, n, path, root):
    a, b, h = m, n - 1, leaf
    if m >= n:
        return False
    for p in path:
        if b == 0:
            return False
        if a % 2 == 1 or a == b:
            h = node(p, h)
            while not (a % 2 == 1 or a == 0):
                a, b = a // 2, b // 2
        else:
            h = node(h, p)
        a, b = a // 2, b // 2
    return b == 0 and h == root


def base64_of(text):
    try:
        raw = base64.b64decode(text, validate=True)
    except ValueError as e:
        raise Refused("base64") from e
    need(base64.b64encode(raw).decode() == text, "base64 in another form")
    return raw


def key_of(text):
    parts = text.split("+", 2)
    need(len(parts) == 3 and is_(r"[^\s+]{1,255}", parts[0]), "the key")
    raw = base64_of(parts[2])
    need(len(raw) == 33 and raw[0] == 1, "the key")
    number = hashlib.sha256(parts[0].encode() + b"\n" + raw).digest()[:4]
    need(number.hex() == parts[1], "the key's number")
    return parts[0], number, raw[1:]


def checkpoint(note, key):
    name, number, public = key
    text = note.decode("utf-8")
    need(len(note) <= 65536 and text.endswith("\n") and not re.search(r"[\x00-\x09\x0b-\x1f]", text), "the note")
    said, _, below = text.rpartition("\n\n")
    said += "\n"
    m = re.fullmatch(r"([^\n]+)\n(0|[1-9][0-9]*)\n([^\n]+)\n", said, re.ASCII)
    need(m and m[1] == name, "the checkpoint's text")
    lines = below[:-1].split("\n")
    need(len(lines) <= 64, "too many signatures")
    good = False
    for line in lines:
        parts = line.split(" ")
        need(len(parts) == 3 and parts[0] == "\u2014", "a signature line")
        raw = base64_of(parts[2])
        if parts[1] != name or raw[:4] != number:
            continue
        try:
            Ed25519PublicKey.from_public_bytes(public).verify(raw[4:], said.encode())
        except InvalidSignature as e:
            raise Refused("the signature") from e
        good = True
    need(good, "no signature of the ledger")
    root = base64_of(m[3])
    need(len(root) == 32, "the root")
    return int(m[2]), root


def lines_of(raw):
    need(raw == b"" or raw.endswith(b"\n"), "a file that was cut off")
    for line in raw.decode("utf-8").split("\n")[:-1]:
        need(len(line.encode()) <= 2097152, "a line too long")
        yield line


def json_file(raw):
    text = raw.decode("utf-8")
    return strict(text[:-1] if text.endswith("\n") else text)


def manifest(raw):
    out = {}
    for line in lines_of(raw):
        m = re.fullmatch(r"([0-9a-f]{64})  (.+)", line)
        need(m and m[2] not in out, "a manifest line")
        out[m[2]] = m[1]
    return out


def check(path, trusted):
    with zipfile.ZipFile(path) as z:
        names = [n for n in z.namelist() if not n.endswith("/")]
        need(len(names) == len(set(names)) and len(names) > 0, "the zip's list")
        folder = names[0].split("/")[0] + "/"
        need(all(n.startswith(folder) for n in names), "more than one folder")
        need(all(z.getinfo(n).compress_type == zipfile.ZIP_STORED for n in names), "a file that is not stored")
        files = {n[len(folder):]: z.read(n) for n in names}
    need(files.get("bagit.txt") == b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n", "bagit.txt")
    need("manifest-sha256.txt" in files and "tagmanifest-sha256.txt" in files, "manifests")
    data, tags = manifest(files["manifest-sha256.txt"]), manifest(files["tagmanifest-sha256.txt"])
    need(all(p.startswith("data/") for p in data) and not any(p.startswith("data/") for p in tags), "manifests")
    need({"bagit.txt", "bag-info.txt", "manifest-sha256.txt"} <= set(tags), "the tag manifest")
    listed = data | tags
    need(set(files) == set(listed) | {"tagmanifest-sha256.txt"}, "files and manifests differ")
    for p, digest in listed.items():
        need(hashlib.sha256(files[p]).hexdigest() == digest, f"{p} is another file")

    def ledger(name):
        need(f"data/ledger/{name}" in files, f"{name} is missing")
        return files[f"data/ledger/{name}"]

    vkey = ledger("vkey.txt").decode("utf-8")
    need(vkey.endswith("\n") and vkey[:-1] == trusted, "another key")
    size, root = checkpoint(ledger("checkpoint.txt"), key_of(trusted))
    contents = json_file(files["data/contents.json"])
    must = "bundle case images images_left_out number papers to withheld".split()
    need(isinstance(contents, dict) and sorted(set(contents) - {"since"}) == must, "contents.json")
    need(contents["bundle"] == 1 and is_(UUID, contents["case"]), "contents.json")
    proofs = {}
    for line in lines_of(ledger("proofs.jsonl")):
        p = strict(line)
        need(isinstance(p, dict) and sorted(p) == ["path", "seq"] and is_count(p["seq"]), "a proof")
        need(isinstance(p["path"], list) and all(is_("[0-9a-f]{64}", h) for h in p["path"]), "a proof")
        need(p["seq"] not in proofs, "two proofs for one event")
        proofs[p["seq"]] = [bytes.fromhex(h) for h in p["path"]]
    reasons = {(seq, field) for seq, fields in contents["withheld"].items() for field in fields}
    last, recorded, ids, touched, named, hidden = 0, "", set(), {}, set(), False
    gone, orders, seqs = {}, {}, set()
    for text in lines_of(ledger("events.jsonl")):
        line = strict(text)
        need(isinstance(line, dict) and isinstance(line.get("header"), str), "a line")
        h = header(line["header"])
        seq = h["seq"]
        if "expunged" in line:
            need(sorted(line) == ["expunged", "header"] and is_count(line["expunged"]), f"the mark of event {seq}")
            gone[seq] = line["expunged"]
        else:
            need(payload_root(line) == h["payload_root"], f"the payload of event {seq}")
            if h["kind"] == "expungement.carried-out":
                orders[seq] = {n for n in line["fields"].get("events", []) if is_count(n) and n < seq}
        need(seq > last and h["recorded_at"] >= recorded and h["id"] not in ids, f"the order at event {seq}")
        last, recorded = seq, h["recorded_at"]
        seqs.add(seq)
        ids.add(h["id"])
        leaf = hashlib.sha256(b"\x00" + line["header"].encode()).digest()
        need(included(leaf, seq - 1, size, proofs.pop(seq, []), root), f"the proof of event {seq}")
        for t in h["touches"]:
            touched.setdefault(t["subject"], []).append(t["n"])
        need(h["case"] == contents["case"], f"event {seq} is another case's")
        for field in line.get("digests", {}):
            need((str(seq), field) in reasons, f"{field} of event {seq} is withheld without a reason")
            reasons.discard((str(seq), field))
        field = {"image.added": "digest", "image.copy-made": "copy"}.get(h["kind"])
        if field and "expunged" not in line:
            if field in line["fields"]:
                need(is_("[0-9a-f]{64}", line["fields"][field]), "a picture's digest")
                named.add(line["fields"][field])
            else:
                hidden = True
    for seq, by in gone.items():
        need(seq in orders.get(by, set()), f"event {seq} is marked as expunged by event {by}, which does not name it")
    for by, named_by in orders.items():
        need(all(n in gone or n not in seqs for n in named_by), f"event {by} expunges what is still there")
    need(not proofs, "proofs for events that are not there")
    need(not reasons, "reasons for what is not withheld")
    stated = json_file(ledger("subjects.json"))
    need(isinstance(stated, dict) and stated, "subjects.json")
    for subject, n in stated.items():
        need(is_(f"({KINDS}):{UUID}", subject) and is_count(n), "subjects.json")
        need(touched.get(subject, []) == list(range(1, n + 1)), f"the events of {subject}")
    for subject in touched:
        need(subject.split(":")[0] in ("person", "place", "count") or subject in stated, f"{subject} is not stated")
    images, left_out = contents["images"], contents["images_left_out"]
    for digest in named:
        need((digest in images) != (digest in left_out), f"picture {digest}")
    for digest, p in images.items():
        need(digest in named or hidden, "a picture that no event names")
        need(hashlib.sha256(files.get(f"data/{p}", b"")).hexdigest() == digest, f"picture {p}")
    for p in contents["papers"]:
        need(f"data/{p}" in files, f"{p} is missing")


for asked in sys.stdin.read().splitlines():
    bundle, key = asked.split("\t")
    try:
        check(bundle, key)
        print("accepted")
    except Exception as e:  # noqa: BLE001 - whatever cannot be read is refused
        print("refused", type(e).__name__, str(e)[:120].replace("\n", " "))
