"""Two hundred ways to tamper with a disclosure bundle.

Input, a line each: the good bundle, a bundle with fields withheld, a bundle of another case, a folder for the mutants, how
many of them. Writes mutant-000.zip and so on, and prints how each was made. Unless the manifests themselves are the target, they
are made to fit again, so that it is the ledger's proofs that must show the change.
"""
import hashlib
import json
import random
import sys
import zipfile

good_path, withheld_path, other_path, out, count = sys.stdin.read().splitlines()
rng = random.Random(20261125)


def read(path):
    with zipfile.ZipFile(path) as z:
        names = z.namelist()
        root = names[0].split("/")[0] + "/"
        return {n[len(root):]: z.read(n) for n in names}


GOOD, WITHHELD, OTHER = read(good_path), read(withheld_path), read(other_path)
EVENTS, PROOFS, SUBJECTS = ("data/ledger/" + n for n in ("events.jsonl", "proofs.jsonl", "subjects.json"))
NOTE, CONTENTS = "data/ledger/checkpoint.txt", "data/contents.json"


def dumps(value):
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def lines(files, path):
    return files[path].decode().split("\n")[:-1]


def put(files, path, new):
    files[path] = "".join(line + "\n" for line in new).encode()


def bag(files, path, fit=True):
    files = dict(files)
    if fit:
        data = {p: b for p, b in files.items() if p.startswith("data/")}
        files["manifest-sha256.txt"] = "".join(
            f"{hashlib.sha256(b).hexdigest()}  {p}\n" for p, b in sorted(data.items())).encode()
        tags = ("bag-info.txt", "bagit.txt", "manifest-sha256.txt")
        files["tagmanifest-sha256.txt"] = "".join(
            f"{hashlib.sha256(files[t]).hexdigest()}  {t}\n" for t in tags if t in files).encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_STORED) as z:
        for p, b in files.items():
            z.writestr("bundle/" + p, b)


def flip(raw):
    at = rng.randrange(len(raw))
    return raw[:at] + bytes([raw[at] ^ (1 << rng.randrange(8))]) + raw[at + 1:]


def any_byte(f):
    path = rng.choice(sorted(f))
    f[path] = flip(f[path])
    return f"a byte of {path}", False


def ledger_byte(f):
    path = rng.choice([EVENTS, EVENTS, PROOFS, SUBJECTS, NOTE, "data/ledger/vkey.txt"])
    f[path] = flip(f[path])
    return f"a byte of {path}, manifests fitted", True


def left_out(f):
    # Not the last event of any of its subjects: that could not be told from a younger bundle.
    events = lines(f, EVENTS)
    stated = json.loads(f[SUBJECTS])
    inner = [n for n, e in enumerate(events)
             if any(t["n"] < stated.get(t["subject"], 0) for t in json.loads(json.loads(e)["header"])["touches"])]
    n = rng.choice(inner)
    put(f, EVENTS, events[:n] + events[n + 1:])
    seq = json.loads(json.loads(events[n])["header"])["seq"]
    put(f, PROOFS, [p for p in lines(f, PROOFS) if json.loads(p)["seq"] != seq])
    return f"event {seq} left out with its proof", True


def swapped(f):
    events = lines(f, EVENTS)
    a, b = rng.sample(range(len(events)), 2)
    events[a], events[b] = events[b], events[a]
    put(f, EVENTS, events)
    return "two events swapped", True


def other_proof(f):
    proofs = [json.loads(p) for p in lines(f, PROOFS)]
    a, b = rng.sample(range(len(proofs)), 2)
    proofs[a]["path"], proofs[b]["path"] = proofs[b]["path"], proofs[a]["path"]
    put(f, PROOFS, map(dumps, proofs))
    return "two proofs exchanged", True


def other_case(f):
    n = rng.randrange(len(lines(OTHER, EVENTS)))
    event, proof = lines(OTHER, EVENTS)[n], lines(OTHER, PROOFS)[n]
    seq = json.loads(proof)["seq"]
    merged = {json.loads(json.loads(e)["header"])["seq"]: e for e in lines(f, EVENTS)} | {seq: event}
    put(f, EVENTS, [merged[s] for s in sorted(merged)])
    put(f, PROOFS, lines(f, PROOFS) + [proof])
    return f"event {seq} of another case with its own proof", True


def field_changed(f):
    events = lines(f, EVENTS)
    n = rng.choice([n for n, e in enumerate(events) if json.loads(e)["fields"]])
    line = json.loads(events[n])
    name = rng.choice(sorted(line["fields"]))
    was = line["fields"][name]
    line["fields"][name] = was + "x" if isinstance(was, str) else "altered"
    events[n] = dumps(line)
    put(f, EVENTS, events)
    return f"field {name} altered", True


def header_changed(f):
    events = lines(f, EVENTS)
    n = rng.randrange(len(events))
    line = json.loads(events[n])
    h = json.loads(line["header"])
    key = rng.choice(["claimed_at", "actor", "kind", "attested"])
    h[key] = {"claimed_at": "2026-01-02T03:04:05.000000+01:00", "actor": "", "kind": "item.altered",
              "attested": "paper"}[key]
    line["header"] = dumps(h)
    events[n] = dumps(line)
    put(f, EVENTS, events)
    return f"{key} of a header altered", True


def refilled(f):
    f.clear()
    f.update(WITHHELD)
    events = lines(f, EVENTS)
    n = rng.choice([n for n, e in enumerate(events) if "digests" in json.loads(e)])
    line = json.loads(events[n])
    name = rng.choice(sorted(line["digests"]))
    del line["digests"][name]
    line["fields"][name] = "Made up, 1 Invented Lane"
    line["salts"][name] = rng.randbytes(32).hex()
    events[n] = dumps(line)
    put(f, EVENTS, events)
    contents = json.loads(f[CONTENTS])
    seq = str(json.loads(line["header"])["seq"])
    del contents["withheld"][seq][name]
    f[CONTENTS] = dumps(contents).encode()
    return f"{name} of event {seq} refilled", True


def reason_gone(f):
    f.clear()
    f.update(WITHHELD)
    contents = json.loads(f[CONTENTS])
    seq = rng.choice(sorted(contents["withheld"]))
    del contents["withheld"][seq]
    f[CONTENTS] = dumps(contents).encode()
    return f"the reasons of event {seq} gone", True


def image_altered(f):
    path = rng.choice([p for p in f if p.startswith("data/images/")])
    f[path] = flip(f[path])
    return f"a byte of {path}, manifests fitted", True


def image_gone(f):
    contents = json.loads(f[CONTENTS])
    digest = rng.choice(sorted(contents["images"]))
    del f["data/" + contents["images"].pop(digest)]
    f[CONTENTS] = dumps(contents).encode()
    return "a picture gone with its line", True


def unstated(f):
    stated = json.loads(f[SUBJECTS])
    subject = rng.choice(sorted(stated))
    how = rng.choice(["gone", "more", "less"])
    if how == "gone" or stated[subject] == 1 and how == "less":
        del stated[subject]
    else:
        stated[subject] += 1 if how == "more" else -1
    f[SUBJECTS] = dumps(stated).encode()
    return f"{subject} stated otherwise", True


def note_changed(f):
    note = f[NOTE].decode().split("\n")
    note[1] = str(int(note[1]) + rng.choice([-1, 1, 100]))
    f[NOTE] = "\n".join(note).encode()
    return "another size in the checkpoint", True


def file_added(f):
    f["data/" + rng.choice(["note.txt", "ledger/more.jsonl", "images/extra.png"])] = rng.randbytes(50)
    return "a file that no manifest lists", False


def file_gone(f):
    path = rng.choice(sorted(f))
    del f[path]
    return f"{path} gone", False


def other_papers(f):
    contents = json.loads(f[CONTENTS])
    contents["case"] = json.loads(OTHER[CONTENTS])["case"]
    f[CONTENTS] = dumps(contents).encode()
    return "another case's number on it", True


WAYS = [any_byte, any_byte, ledger_byte, left_out, swapped, other_proof, other_case, field_changed, header_changed, refilled,
        reason_gone, image_altered, image_gone, unstated, note_changed, file_added, file_gone, other_papers]
for n in range(int(count)):
    files = dict(GOOD)
    said, fit = WAYS[n % len(WAYS)](files)
    bag(files, f"{out}/mutant-{n:03}.zip", fit)
    print(said)
