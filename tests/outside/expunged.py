"""Ways to tamper with the mark of an expunged event in a disclosure bundle.

Input, a line each: a bundle with expunged events, a folder for the mutants. Writes expunged-0.zip and so on, and prints how each
was made. The manifests are made to fit again, so that it is the ledger part that must show the change.
"""
import hashlib
import json
import sys
import zipfile

path, out = sys.stdin.read().splitlines()
EVENTS, PROOFS, SUBJECTS = ("data/ledger/" + n for n in ("events.jsonl", "proofs.jsonl", "subjects.json"))
with zipfile.ZipFile(path) as z:
    root = z.namelist()[0].split("/")[0] + "/"
    FILES = {n[len(root):]: z.read(n) for n in z.namelist()}
LINES = [json.loads(line) for line in FILES[EVENTS].decode().split("\n")[:-1]]
SEQ = {json.loads(line["header"])["seq"]: line for line in LINES}
MARKED = [seq for seq, line in SEQ.items() if "expunged" in line]
BY = SEQ[MARKED[0]]["expunged"]


def dumps(value):
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def bag(name, events, without=()):
    files = dict(FILES)
    files[EVENTS] = "".join(dumps(line) + "\n" for line in events).encode()
    proofs = [p for p in files[PROOFS].decode().split("\n")[:-1] if json.loads(p)["seq"] not in without]
    files[PROOFS] = "".join(p + "\n" for p in proofs).encode()
    if without:
        counts = {}
        for line in events:
            for t in json.loads(line["header"])["touches"]:
                counts[t["subject"]] = t["n"]
        stated = json.loads(files[SUBJECTS])
        files[SUBJECTS] = dumps({s: counts[s] for s in stated if s in counts}).encode()
    data = {p: b for p, b in files.items() if p.startswith("data/")}
    files["manifest-sha256.txt"] = "".join(
        f"{hashlib.sha256(b).hexdigest()}  {p}\n" for p, b in sorted(data.items())).encode()
    tags = ("bag-info.txt", "bagit.txt", "manifest-sha256.txt")
    files["tagmanifest-sha256.txt"] = "".join(
        f"{hashlib.sha256(files[t]).hexdigest()}  {t}\n" for t in tags).encode()
    with zipfile.ZipFile(f"{out}/{name}", "w", zipfile.ZIP_STORED) as z:
        for p, b in files.items():
            z.writestr("bundle/" + p, b)


def with_line(seq, line):
    return [line if json.loads(x["header"])["seq"] == seq else x for x in LINES]


other = next(s for s in SEQ if s not in MARKED and s < BY)
mutants = [
    ("the mark names another event", with_line(MARKED[0], {**SEQ[MARKED[0]], "expunged": other}), ()),
    ("the mark names no event of the bundle", with_line(MARKED[0], {**SEQ[MARKED[0]], "expunged": 999999}), ()),
    ("a mark on an event that nobody expunged",
     with_line(other, {"expunged": BY, "header": SEQ[other]["header"]}), ()),
    ("the expungement is left out, counts and proofs fitted",
     [x for x in LINES if json.loads(x["header"])["seq"] < BY],
     {s for s in SEQ if s >= BY}),
    ("a mark beside fields", with_line(MARKED[0], {**SEQ[MARKED[0]], "fields": {}}), ()),
    ("the expungement names another event",
     with_line(BY, {**SEQ[BY], "fields": {**SEQ[BY]["fields"], "events": [other]}}), ()),
    ("the expungement itself is marked", with_line(BY, {"expunged": BY, "header": SEQ[BY]["header"]}), ()),
]
for n, (how, events, without) in enumerate(mutants):
    bag(f"expunged-{n}.zip", events, without)
    print(how)
