"""Check Wrapledger's records without Wrapledger: one file, the standard library, and `cryptography` for signatures.

    python check_records.py all         FOLDER KEY [EARLIER.txt]
    python check_records.py checkpoint  CHECKPOINT.txt KEY
    python check_records.py history     HISTORY.jsonl [CHECKPOINT.txt KEY PROOF.json]
    python check_records.py end         HISTORY.jsonl CHECKPOINT.txt KEY END.json
    python check_records.py absent      CHAIN CHECKPOINT.txt KEY END.json
    python check_records.py consistency EARLIER.txt LATER.txt KEY PROOF.json
    python check_records.py signatures  SIGNATURES.json HISTORY.jsonl CHECKPOINT.txt KEY END.json
    python check_records.py witness-key OWN NAME
    python check_records.py witness     OWN CHECKPOINT.txt KEY [PROOF.json]
    python check_records.py witnessed   CHECKPOINT.txt KEY WITNESS.txt WITNESSKEY [WITNESS.txt WITNESSKEY ...]

KEY is the service's public key, 64 hexadecimal digits, got from its administrator by another way than the file; where
it was changed, both keys with a comma between them.
Each check prints what it found in words and ends with 0 when all holds, 1 when something does not, 2 when a file
can't be read. What can't be found here: an act that was never recorded, and a service that lied from the first day.

FOLDER is what `manage.py export_evidence` writes; its layout is in records.md. `all` reads every file of it, refuses
those that it has no use for, and prints a line for each fault and one for each record, with one word for how that
stands as of the checkpoint. EARLIER.txt is a checkpoint that you kept yourself.

HISTORY.jsonl holds one line for each entry of a history: {"content": base64 of its bytes}. An entry's bytes are
canonical JSON (RFC 8785); its digest is their SHA-256; `prev` in it is the digest of the entry before, 64 zeros for the
first. PROOF.json is {"index", "size", "hashes"} or {"first", "second", "hashes"} as RFC 9162 section 2.1 has them; a
leaf is SHA-256(0x00 ‖ digest), a node SHA-256(0x01 ‖ left ‖ right). An inclusion proof for one entry of a history is
one for all entries before it, since each holds the digest of the one before; that nothing after it is withheld is shown
by END.json, {"key", "end", "hashes"}: of a checkpoint of form 2, the way from a leaf of the tree over the ends of all
histories up to its root. There key is SHA-256(the history's name), its bits the way down, 0 left; end is
SHA-256(how many entries, 8 bytes, the highest first ‖ digest of the last); a leaf is SHA-256(0x02 ‖ key ‖ end), a node
SHA-256(0x03 ‖ left ‖ right), a subtree without leaves 32 zero bytes, and one with a single leaf that leaf.

SIGNATURES.json is {"record": base64, "signatures": [{"statement": base64, "digest"}]}; a statement names the SHA-256 of
the record. Whoever makes such a file can make it fit itself; so the history, whose end the checkpoint proves, has to
tell the digests of the record and of both signatures, and whether the count was voided since. Whether the two were
authorised is told by the register, and checked by `all`.

OWN is a witness's own folder: `witness-key` makes it, with a key that nobody else may have, and prints the public key
for the service. `witness` checks that a checkpoint goes on from the one that was countersigned last, by the service's
consistency proof between the two, and countersigns it: OWN/countersignature-ENTRIES.txt is for the service. On the
first time there is none to compare with. If the two disagree it signs nothing and keeps both. `witnessed` says by whom
a checkpoint is countersigned.

What is keyed is blind at first: a history holds SHA-256 of {"point", "salt", "value"} (of where a finding lies: of
{"finding": {…}, "salt"}) as canonical JSON, and tells value and salt once nobody can be led by them.
"""

import base64
import hashlib
import json
import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

HEADINGS = ("Wrapledger checkpoint, form 1\n", "Wrapledger checkpoint, form 2\n")


class Broken(Exception):
    """Something does not hold."""


def sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def node(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(b"\x01" + left + right).digest()


def split(size: int) -> int:
    """The largest power of two below a size."""
    return 1 << ((size - 1).bit_length() - 1)


# Checkpoints --------------------------------------------------------------------------------------------------------


def checkpoint(text: str, keys: str) -> dict[str, str]:
    """What a checkpoint says, once its signature holds for this key, or one of these."""
    body, label, signature = text.partition("signature: ")
    if not label or not body.startswith(HEADINGS):
        raise Broken("this is not a checkpoint of form 1 or 2")
    if not any(is_signed(body, signature, key) for key in keys.split(",")):
        raise Broken("the checkpoint's signature does not hold for this key")
    return dict(line.split(": ", 1) for line in body.splitlines()[1:])


def is_signed(body: str, signature: str, key: str) -> bool:
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(bytes.fromhex(signature.strip()), body.encode())
    except (InvalidSignature, ValueError):
        return False
    return True


def root_over(leaf: bytes, index: int, size: int, hashes: list[bytes]) -> bytes:
    """The root of a tree of a size, from one leaf and its inclusion proof.

    Raises ValueError for too few or too many hashes. The last hash is that of the subtree beside the leaf's at the top;
    those before it prove the leaf in its own subtree.
    """
    if size == 1:
        [] = hashes
        return leaf
    *inner, beside = hashes
    k = split(size)
    if index < k:
        return node(root_over(leaf, index, k, inner), beside)
    return node(beside, root_over(leaf, index - k, size - k, inner))


def old_and_new(first: int, size: int, hashes: list[bytes], earlier_root: bytes | None) -> tuple[bytes, bytes]:
    """The roots of the first leaves and of all, from a consistency proof. Raises ValueError as above.

    earlier_root: while the earlier tree is still a left part of this one, its root is known and not in the proof.
    """
    if first == size:
        [root] = [earlier_root, *hashes] if earlier_root else hashes
        return root, root
    *inner, beside = hashes
    k = split(size)
    if first <= k:
        old, new = old_and_new(first, k, inner, earlier_root)
        return old, node(new, beside)
    old, new = old_and_new(first - k, size - k, inner, None)
    return node(beside, old), node(beside, new)


def check_consistency(earlier: dict[str, str], later: dict[str, str], proof: dict[str, Any]) -> None:
    first, second = int(earlier["entries"]), int(later["entries"])
    if not 0 < first <= second:
        raise Broken(f"the earlier checkpoint has {first} entries, the later one {second}")
    earlier_root = bytes.fromhex(earlier["root"])
    try:
        roots = old_and_new(first, second, [bytes.fromhex(each) for each in proof["hashes"]], earlier_root)
    except ValueError:
        raise Broken("the proof has too few hashes, or too many") from None
    if roots != (earlier_root, bytes.fromhex(later["root"])):
        raise Broken("the later records do not begin with the earlier ones: something was changed, removed or put in")


def check_inclusion(digests: list[str], signed: dict[str, str], proof: dict[str, Any]) -> int:
    """How many of a history's entries the checkpoint covers at least: up to the one that the proof is for."""
    size, index = int(signed["entries"]), int(proof["index"])
    if int(proof["size"]) != size or not 0 <= index < size:
        raise Broken(f"the proof is for entry {index} of {proof['size']}; the checkpoint has {size}")
    hashes = [bytes.fromhex(each) for each in proof["hashes"]]
    for covered in range(len(digests), 0, -1):
        leaf = hashlib.sha256(b"\x00" + bytes.fromhex(digests[covered - 1])).digest()
        try:
            root = root_over(leaf, index, size, hashes)
        except ValueError:
            raise Broken("the proof has too few hashes, or too many") from None
        if root.hex() == signed["root"]:
            return covered
    raise Broken("the proof is for no entry of this history, or it was another one when the checkpoint was made")


# The ends of histories ----------------------------------------------------------------------------------------------


def root_from(leaf: bytes, key: bytes, hashes: list[str]) -> str:
    """The root over the ends, from a leaf, or 32 zero bytes for none, and the hashes beside its way, from below."""
    way = int.from_bytes(key, "big")
    for depth, beside in zip(range(len(hashes) - 1, -1, -1), map(bytes.fromhex, hashes), strict=True):
        sides = beside + leaf if way >> (255 - depth) & 1 else leaf + beside
        leaf = hashlib.sha256(b"\x03" + sides).digest()
    return leaf.hex()


def ends_of(signed: dict[str, str], proof: dict[str, Any]) -> str:
    """The root over the ends that a checkpoint tells."""
    if "ends" not in signed:
        raise Broken("the checkpoint is of form 1, which tells nothing of where histories end")
    if len(proof["hashes"]) > 256:
        raise Broken("the proof has more hashes than a way can have")
    return signed["ends"]


def check_end(name: str, digests: list[str], signed: dict[str, str], proof: dict[str, Any]) -> int:
    """With how many entries the history ended when the checkpoint was made."""
    root, key = ends_of(signed, proof), hashlib.sha256(name.encode()).digest()
    for count in range(len(digests), 0, -1):
        end = hashlib.sha256(count.to_bytes(8, "big") + bytes.fromhex(digests[count - 1])).digest()
        if root_from(hashlib.sha256(b"\x02" + key + end).digest(), key, proof["hashes"]) == root:
            return count
    raise Broken(f"{name} had another end when the checkpoint was made: entries are withheld, or are not those")


def check_absent(name: str, signed: dict[str, str], proof: dict[str, Any]) -> None:
    """That there was no history of this name when the checkpoint was made."""
    root, key = ends_of(signed, proof), hashlib.sha256(name.encode()).digest()
    leaf = bytes(32)
    if proof["key"] is not None:
        other, depth = bytes.fromhex(proof["key"]), len(proof["hashes"])
        if other == key or (int.from_bytes(other, "big") ^ int.from_bytes(key, "big")) >> (256 - depth):
            raise Broken(f"the proof is of a leaf that does not show that there was no {name}")
        leaf = hashlib.sha256(b"\x02" + other + bytes.fromhex(proof["end"])).digest()
    if root_from(leaf, key, proof["hashes"]) != root:
        raise Broken(f"the proof does not show that there was no {name}")


# Histories and signatures -------------------------------------------------------------------------------------------


def entries_of(lines: Iterable[str]) -> Iterator[tuple[dict[str, Any], str]]:
    """Each entry of a history with its digest, once it follows the one before."""
    name, prev = None, "0" * 64
    for seq, line in enumerate(lines, start=1):
        content = base64.b64decode(json.loads(line)["content"], validate=True)
        entry = json.loads(content)
        name = name or entry["chain"]
        if (entry["chain"], entry["seq"], entry["prev"]) != (name, seq, prev):
            raise Broken(
                f"entry {seq} of {name} is {entry['chain']} entry {entry['seq']}, or does not follow the one before"
            )
        prev = sha256(content)
        yield entry, prev
    if name is None:
        raise Broken("the history is empty")


def check_history(lines: Iterable[str]) -> tuple[str, list[str]]:
    """The chain's name and the digests of its entries, once every entry follows the one before."""
    digests, name = [], ""
    for entry, digest in entries_of(lines):
        name = entry["chain"]
        digests.append(digest)
    return name, digests


class History:
    """What a history tells: its rows by table and id, as they stand at its end."""

    def __init__(self) -> None:
        self.name = ""
        self.rows: dict[str, dict[int, dict[str, Any]]] = {}
        self.added_at: dict[tuple[str, int], str] = {}  # when a row was told first
        self.reel_then: dict[int, dict[str, Any]] = {}  # the reel's row when a signature was given, by its id
        self.shown: set[tuple[str, int]] = set()  # what is no longer blind: rows by table and id

    def table(self, name: str) -> dict[int, dict[str, Any]]:
        return self.rows.get(name, {})

    def take(self, entry: dict[str, Any]) -> None:
        """Follow one entry, which has to fit what was told before it."""
        self.name = entry["chain"]
        for change in entry["changes"]:
            self.take_row(entry, change["table"], change["id"], change["before"], change["after"])
        for fact in entry["facts"].get("revealed", ()):
            table = KEYINGS if "keying" in fact else THIRD_READINGS
            row_id = fact["keying" if "keying" in fact else "third_reading"]
            row = self.table(table).get(row_id)
            if row is None or blinded(row["point"], fact["value"], fact["salt"]) != row["commitment"]:
                raise Broken(f"entry {entry['seq']} tells another value for {table} {row_id} than was committed to")
            self.shown.add((table, row_id))
        for fact in entry["facts"].get("findings", ()):
            row = self.table(FINDINGS).get(fact["finding"])
            if (
                row is None
                or sha256(canonical({"finding": fact["details"], "salt": fact["salt"]})) != row["commitment"]
            ):
                raise Broken(f"entry {entry['seq']} tells of finding {fact['finding']} what was not committed to")
            self.shown.add((FINDINGS, fact["finding"]))

    def take_row(self, entry: dict[str, Any], table: str, row_id: int, before: Any, after: dict[str, Any]) -> None:
        rows = self.rows.setdefault(table, {})
        known = rows.get(row_id)
        if before is None and known is None:
            rows[row_id] = dict(after)
            self.added_at[table, row_id] = entry["at"]
            if table == SIGN_OFFS:
                self.reel_then[row_id] = dict(next(iter(self.table(REELS).values())))
        elif before is None or known is None or any(known.get(each, old) != old for each, old in before.items()):
            raise Broken(f"entry {entry['seq']} changes {table} {row_id} in a way that does not follow")
        else:
            known.update(after)


# The tables whose rows histories tell and that matter here.
REELS, TYPES, SITES, PEOPLE = "reels_reel", "reels_reeltype", "reels_site", "reels_person"
AUTHORISATIONS, SIGN_OFFS, RECORDS = "inspections_authorisation", "inspections_signoff", "inspections_inspectionrecord"
INSPECTIONS, READINGS, KEYINGS = "inspections_inspection", "inspections_reading", "inspections_keying"
THIRD_READINGS, FINDINGS, VOIDS = "inspections_thirdreading", "inspections_finding", "inspections_void"
SETUP_VALUES, DOCUMENTS = "inspections_setupvalues", "reports_archivedpdf"
PHOTOS, FINDING_PHOTOS = "inspections_photo", "inspections_findingphoto"
CABLE_EVENTS, EVENTS, INSTALLATIONS = "reels_cableevent", "reels_reelevent", "reels_installation"


def canonical(value: Any) -> bytes:
    """Canonical JSON (RFC 8785), for what has no floats in it, and only names of ASCII."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def blinded(point: str, value: Any, salt: str) -> str:
    """The commitment to what was keyed at a point."""
    return sha256(canonical({"point": point, "salt": salt, "value": value}))


def check_signatures(exported: dict[str, Any]) -> list[dict[str, Any]]:
    """What each signer stated, once each statement is for this very record and two different people made them."""
    record = base64.b64decode(exported["record"], validate=True)
    statements = []
    for each in exported["signatures"]:
        content = base64.b64decode(each["statement"], validate=True)
        statement = json.loads(content)
        if sha256(content) != each["digest"]:
            raise Broken(f"the statement of {statement['person']['name']} was changed")
        if statement["record"] != sha256(record):
            raise Broken(f"{statement['person']['name']} signed another record than this one")
        statements.append(statement)
    if len({each["person"]["id"] for each in statements}) != len(statements):
        raise Broken("two signatures are by the same person")
    return statements


def check_recorded(exported: dict[str, Any], statements: list[dict[str, Any]], history: History) -> dict[str, Any]:
    """The inspection's row, once its history tells of this record and of these signatures, and of no others."""
    record = sha256(base64.b64decode(exported["record"], validate=True))
    kept = [row for row in history.table(RECORDS).values() if row["digest"] == record]
    if len(kept) != 1:
        raise Broken(f"the history tells of no record with the digest {record}")
    inspection_id = kept[0]["inspection_id"]
    inspection = history.table(INSPECTIONS)[inspection_id]
    signed = {row["digest"]: row for row in history.table(SIGN_OFFS).values() if row["inspection_id"] == inspection_id}
    shown = {each["digest"]: stated for each, stated in zip(exported["signatures"], statements, strict=True)}
    if other := sorted(shown.keys() - signed.keys()):
        raise Broken(f"the history tells of no signature with the digest {other[0]}")
    if missing := [digest for digest in signed if digest not in shown]:
        raise Broken(f"the signature with the digest {missing[0]}, of {signed[missing[0]]['full_name']}, is missing")
    for digest, row in signed.items():
        check_statement(shown[digest], row)
    meanings = sorted(row["meaning"] for row in signed.values())
    if meanings != ["counted", "verified"] and (inspection["state"] in ("signed", "voided") or meanings != ["counted"]):
        raise Broken(f"inspection {inspection_id} is {inspection['state']}, and its signatures say {meanings}")
    return {"id": inspection_id, "signed": signed, **inspection}


def check_statement(stated: dict[str, Any], row: dict[str, Any]) -> None:
    recorded = {"record": row["record_digest"], "inspection": row["inspection_id"], "meaning": row["meaning"],
            "at": row["signed_at"]}  # fmt: skip
    says = {name: stated[name] for name in recorded}
    recorded |= {"person": row["person_id"], "name": row["full_name"], "authorisation": row["authorisation_id"]}
    says |= {"person": stated["person"]["id"], "name": stated["person"]["name"],
             "authorisation": stated["authorisation"]["id"]}  # fmt: skip
    for name, value in recorded.items():
        if says[name] != value:
            raise Broken(f"the statement of {row['full_name']} says {name} {says[name]!r}, the history {value!r}")


# A whole folder -----------------------------------------------------------------------------------------------------


class Folder:
    """The files of a folder; each that was read is ticked off, so that those that nobody asked for can be told."""

    def __init__(self, path: str) -> None:
        self.path = Path(path)
        every = [each for each in self.path.rglob("*") if each.is_symlink() or not each.is_dir()]
        self.unread = {each.relative_to(self.path).as_posix() for each in every}
        if links := [each for each in every if each.is_symlink() or not each.is_file()]:
            raise Broken(f"{links[0]} is no file, but a link or a device")

    def has(self, name: str) -> bool:
        return name in self.unread

    def take(self, name: str) -> Path:
        """A file that has to be there."""
        if name not in self.unread:
            raise Broken(f"{name} is missing")
        self.unread.remove(name)
        return self.path / name

    def text(self, name: str) -> str:
        return self.take(name).read_text(encoding="utf-8")

    def json(self, name: str) -> Any:
        return json.loads(self.text(name))


class Report:
    """What was found in a folder, printed as it is found."""

    def __init__(self) -> None:
        self.faults = 0
        self.words: dict[str, int] = {}

    def broken(self, why: str) -> None:
        self.faults += 1
        print(f"BROKEN: {why}.")

    def stands(self, what: str, word: str, why: str = "") -> None:
        self.words[word] = self.words.get(word, 0) + 1
        print(f"{what}: {word}{'; ' * bool(why)}{why}.")

    def of(self, where: str, check: Callable[..., Any], *arguments: Any) -> Any:
        """What a check gives; None once its fault is told, so that the others go on."""
        try:
            return check(*arguments)
        except Broken as broken:
            self.broken(f"{where}: {broken}")
        except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError) as unreadable:
            self.broken(f"{where} can't be read ({type(unreadable).__name__}: {unreadable})")
        return None


def stem(name: str) -> str:
    """The beginning of the names of a history's files."""
    return f"{re.sub(r'[^A-Za-z0-9.-]', '_', name)[:60]}-{sha256(name.encode())[:16]}"


def check_since(folder: Folder, signed: dict[str, str], key: str, kept: str | None) -> str:
    """That everything of an earlier checkpoint is still there, where one is in the folder or was kept elsewhere."""
    own = checkpoint(kept, key) if kept is not None else None
    if own and int(own["entries"]) > int(signed["entries"]):
        raise Broken("yours covers more entries than this one: entries were removed, or an old backup was restored")
    if not folder.has("since.txt"):
        if own and own != signed:
            raise Broken("nothing shows that yours still holds; ask for the folder since that one")
        return ""
    since = folder.text("since.txt")
    if kept is not None and kept.split() != since.split():
        raise Broken("since.txt is not the one that you kept; ask for the folder since that one")
    earlier = checkpoint(since, key)
    check_consistency(earlier, signed, folder.json("consistency.json"))
    return f" Nothing of the {earlier['entries']} entries of {earlier['made']} was changed, removed or put in between."


def check_countersigned(folder: Folder, name: str, texts: dict[str, str]) -> str:
    """Who countersigned which checkpoint of the folder, by the key that it names: whose that is they must say."""
    signed = folder.text(name)
    says = dict(line.split(": ", 1) for line in signed.splitlines()[1:])
    if says["checkpoint"] not in texts:
        raise Broken(f"it is of no checkpoint that is here, but of one over {says['entries']} entries")
    countersignature(signed, says["key"], texts[says["checkpoint"]])
    return (
        f"The one over {says['entries']} entries is countersigned by {says['witness']}, if {says['key']} is their key."
    )


def check_witnesses(folder: Folder, report: "Report") -> str:
    paths = [folder.path / each for each in ("checkpoint.txt", "since.txt")]
    texts = {sha256(each.read_bytes()): text(str(each)) for each in paths if each.is_file()}
    names = sorted(each for each in folder.unread if each.startswith("countersignatures/"))
    sentences = [report.of(each, check_countersigned, folder, each, texts) for each in names]
    return "".join(f" {each}" for each in sentences if each)


def check_keys(folder: Folder, signed: dict[str, str]) -> None:
    """keys.txt proves nothing, but it has to be what the service would write."""
    if signed["key"] not in folder.text("keys.txt").split():
        raise Broken("it does not have the key that the checkpoint names")


def check_one_history(
    folder: Folder, name: str, signed: dict[str, str], each_entry: Callable[[dict[str, Any]], None]
) -> str:
    """Follow a history to its end, which has to be the one that the checkpoint proves. Returns the chain's name."""
    chain, count, last = "", 0, ""
    with folder.take(f"histories/{name}.jsonl").open(encoding="utf-8") as lines:
        for entry, digest in entries_of(lines):
            chain, count, last = entry["chain"], count + 1, digest
            if stem(chain) != name:
                raise Broken(f"it is the history of {chain}, whose file is called {stem(chain)}.jsonl")
            each_entry(entry)
    proof = folder.json(f"ends/{name}.json")
    end = hashlib.sha256(count.to_bytes(8, "big") + bytes.fromhex(last)).digest()
    check_leaf(chain, end, signed, proof)
    return chain


def check_leaf(name: str, end: bytes, signed: dict[str, str], proof: dict[str, Any]) -> None:
    """That a history had this end when the checkpoint was made."""
    root, key = ends_of(signed, proof), hashlib.sha256(name.encode()).digest()
    if root_from(hashlib.sha256(b"\x02" + key + end).digest(), key, proof["hashes"]) != root:
        raise Broken(f"{name} had another end when the checkpoint was made: entries are withheld, or are not those")


def check_authorised(row: dict[str, Any], reel: dict[str, Any], stated: dict[str, Any], register: History) -> None:
    """That a signer was authorised for this act, type and site when they signed, by what the register tells."""
    number, at = row["authorisation_id"], row["signed_at"]
    who = f"{row['full_name']} signed “{row['meaning']}”"
    held = register.table(AUTHORISATIONS).get(number)
    if held is None or row["person_id"] not in register.table(PEOPLE):
        raise Broken(f"{who} by authorisation {number}, and the register tells of no such authorisation or person")
    sites, types = register.table(SITES), register.table(TYPES)
    wrong = {
        "was somebody else's": held["person_id"] != row["person_id"],
        "was given by themselves": held["granted_by_id"] == held["person_id"],
        "is for another act": held["act"] != {"counted": "count", "verified": "verify"}.get(row["meaning"]),
        "is for another site": held["site_id"] not in (None, reel["site_id"]),
        "is for another reel type": held["reel_type_id"] not in (None, reel["type_id"]),
        "had not begun": held["valid_from"] > at,
        "was given afterwards": register.added_at[AUTHORISATIONS, number] > at,
        "had run out": held["valid_until"] is not None and held["valid_until"] <= at,
        "had been ended": held["ended_at"] is not None and held["ended_at"] <= at,
    }
    recorded = {
        "id": number, "act": held["act"], "valid_from": held["valid_from"], "valid_until": held["valid_until"],
        "granted_by": held["granted_by_id"],
        "reel_type": types.get(held["reel_type_id"], {}).get("code"),
        "site": sites.get(held["site_id"], {}).get("code"),
    }  # fmt: skip
    wrong["is stated otherwise than the register tells it"] = recorded != stated["authorisation"]
    if why := [each for each, is_so in wrong.items() if is_so]:
        raise Broken(f"{who} by authorisation {number}, which {' and '.join(why)}")


def check_record(folder: Folder, inspection_id: int, history: History, register: History) -> dict[str, Any]:
    """The inspection, once record, signatures and authorisations hold and nothing that was blind was exchanged."""
    exported = folder.json(f"records/{inspection_id}.json")
    statements = check_signatures(exported)
    inspection = check_recorded(exported, statements, history)
    record = json.loads(base64.b64decode(exported["record"]))
    roles = {(each["id"], each["role"]) for each in record["participants"]}
    if (record["inspection"], f"reel:{record['reel']['serial']}") != (inspection_id, history.name):
        raise Broken(f"the record is of inspection {record['inspection']} of reel {record['reel']['serial']}")
    if any(record["result"][name] != inspection[name] for name in ("layers", "wraps", "parity")):
        raise Broken("the result that was signed is not the one that the history tells")
    for digest, stated in zip((each["digest"] for each in exported["signatures"]), statements, strict=True):
        row = inspection["signed"][digest]
        [row_id] = [each for each, other in history.table(SIGN_OFFS).items() if other is row]
        if (row["person_id"], {"counted": "technician", "verified": "verifier"}[row["meaning"]]) not in roles:
            raise Broken(f"{row['full_name']} signed “{row['meaning']}” and did not take part as that")
        check_authorised(row, history.reel_then[row_id], stated, register)
    check_blind(inspection_id, record, history)
    return inspection


def check_blind(inspection_id: int, record: dict[str, Any], history: History) -> None:
    """That every value in a record is the one that was committed to when it was keyed, and that none is left out."""
    numbers = {
        row_id: row["number"]
        for row_id, row in history.table(READINGS).items()
        if row["inspection_id"] == inspection_id
    }
    for table, listed in ((KEYINGS, "keyed"), (THIRD_READINGS, "third_readings")):
        committed = {
            (numbers[row["reading_id"]], row["point"], row["attempt"], row.get("role"), row["commitment"])
            for row in history.table(table).values()
            if row["reading_id"] in numbers and row["commitment"]
        }
        shown = {
            (reading["number"], each["point"], each["attempt"], each.get("role"),
             blinded(each["point"], each["value"], each["salt"]))
            for reading in record["readings"] for each in reading.get(listed, ()) if each["commitment"]
        }  # fmt: skip
        if committed != shown:
            where = ", ".join(sorted({f"{each[1]} of reading {each[0]}" for each in committed ^ shown}))
            raise Broken(f"what is shown as {listed.replace('_', ' ')} is not what was committed to: {where}")
    for each in record.get("findings", ()):
        details = {name: each[name] for name in ("layer", "side", "visible_wrap", "length_from_end_m", "words")}
        row = history.table(FINDINGS).get(each["finding"])
        if row is None or sha256(canonical({"finding": details, "salt": each["salt"]})) != row["commitment"]:
            raise Broken(f"finding {each['finding']} is not what was committed to")


def check_document(folder: Folder, row: dict[str, Any], records: dict[int, str]) -> None:
    """That a PDF is the file that was kept, was drawn up from the record, and its seal covers all of it."""
    content = folder.take(f"documents/inspection-{row['inspection_id']}-{row['number']}.pdf").read_bytes()
    drawn_up = content[: row["unsealed_length"]]
    if (sha256(content), sha256(drawn_up)) != (row["digest"], row["unsealed_digest"]):
        raise Broken("it is not the file that was kept")
    if records.get(row["inspection_id"]) != row["record_digest"]:
        raise Broken("it was drawn up from another record")
    # A seal signs all but the gap that holds the seal itself, which names the digest of what it signs.
    ranges = re.findall(rb"/ByteRange ?\[ ?0 (\d+) (\d+) (\d+) ?\]", content[len(drawn_up) :])
    if len(ranges) != 1:
        raise Broken(f"it has {len(ranges)} seals; there should be one")
    gap, after, rest = map(int, ranges[0])
    if not len(drawn_up) <= gap < after or after + rest != len(content):
        raise Broken("its seal does not cover the whole file")
    seal = bytes.fromhex(content[gap:after].strip(b"<>").decode())
    if hashlib.sha256(content[:gap] + content[after:]).digest() not in seal:
        raise Broken("its seal is for other bytes")


def check_photo(folder: Folder, row: dict[str, Any], seen: set[str]) -> None:
    ending = {"image/jpeg": "jpg", "image/png": "png"}[row["media_type"]]
    name = f"photos/{row['digest']}.{ending}"
    if name in seen:  # the same picture, kept twice
        return
    content = folder.take(name).read_bytes()
    seen.add(name)
    if sha256(content) != row["digest"]:
        raise Broken("it is not the photo that was kept")


# How records stand, as of the checkpoint: one word each. Of a count the first that holds: voided; superseded by a later
# signed count; lapsed, when something since ended it; stands. Of setup values: withdrawn, or stands.


def moment(written: str) -> datetime:
    return datetime.fromisoformat(written)


def standing(rows: dict[int, dict[str, Any]]) -> list[dict[str, Any]]:
    """Entries that were not taken back by another one."""
    taken_back = {row.get("reverses_id") for row in rows.values()}
    return [row for row_id, row in rows.items() if row["kind"] != "reversal" and row_id not in taken_back]


def ends_of_count(done_at: str, made: str, history: History, reel_type: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """What ended a count that was done then, and when, up to the checkpoint."""
    for row in standing(history.table(CABLE_EVENTS)):
        yield row["happened_at"], f"an entry says: {row['kind']}"
    for row_id, row in history.table(FINDINGS).items():
        if row["remedy"] in ("respooled", "cut", "replaced"):
            yield row["closed_at"], f"finding {row_id} was closed: {row['remedy']}"
    for row in history.table(INSTALLATIONS).values():
        if row["removed_at"] and row["cable_went_out"] is not False:
            yield row["removed_at"], "the reel was removed from its machine, maybe after use"
    yield from ends_by_events(done_at, history, reel_type.get("count_uses") or 10**9)
    if reel_type.get("count_days"):
        until = moment(done_at) + timedelta(days=reel_type["count_days"])
        if until <= moment(made):
            yield f"{until:%Y-%m-%dT%H:%M:%S.%fZ}", f"it was counted more than {reel_type['count_days']} days ago"


def ends_by_events(done_at: str, history: History, most: int) -> Iterator[tuple[str, str]]:
    """What was recorded of the reel itself; and after how many uses a count is no longer good."""
    uses = 0
    for row in sorted(standing(history.table(EVENTS)), key=lambda row: str(row["happened_at"])):
        if row["happened_at"] < done_at:
            continue
        if row["ends_count"]:
            yield row["happened_at"], f"this was recorded: {row['kind']}"
        uses += row["uses"] or 0
        if row["uses"] and uses >= most:
            yield row["happened_at"], f"it had {uses} uses"


def how_it_stands(inspection: dict[str, Any], made: str, history: History, register: History) -> tuple[str, str]:
    """The word for a signed count, and why."""
    [reel] = history.table(REELS).values()
    number, done_at = inspection["id"], inspection["done_at"]
    voids = [row for row in history.table(VOIDS).values() if row["inspection_id"] == number and row["confirmed_at"]]
    if (inspection["state"] == "voided") != bool(voids):
        raise Broken(f"it is {inspection['state']}, and {len(voids)} voids of it are confirmed")
    if voids:
        return "voided", f"{voids[0]['confirmed_at']}: {voids[0]['reason']}"
    later = [(row["done_at"], row_id) for row_id, row in history.table(INSPECTIONS).items()
             if row["state"] == "signed" and (row["done_at"], row_id) > (done_at, number)]  # fmt: skip
    if later:
        return "superseded", f"inspection {min(later)[1]} was signed later"
    ends = ends_of_count(done_at, made, history, register.table(TYPES)[reel["type_id"]])
    if end := min((each for each in ends if each[0] >= done_at), default=None):
        return "lapsed", f"{end[0]}: {end[1]}"
    return "stands", ""


def check_setup_values(row: dict[str, Any], history: History) -> None:
    """That setup values are the result of a count that both signed."""
    inspection = history.table(INSPECTIONS)[row["inspection_id"]]
    if inspection["state"] not in ("signed", "voided"):
        raise Broken(f"they are from inspection {row['inspection_id']}, which is {inspection['state']}")
    if any(row[name] != inspection[name] for name in ("layers", "wraps", "parity")):
        raise Broken(f"they are not the result of inspection {row['inspection_id']}")
    if inspection["state"] == "voided" and not row["withdrawn_at"]:
        raise Broken(f"they are not withdrawn, and inspection {row['inspection_id']} was voided")


def check_reel(
    folder: Folder, history: History, register: History, made: str, report: Report, photos: set[str]
) -> None:
    """Everything that the history of a reel names."""
    reels = [f"reel:{row['serial']}" for row in history.table(REELS).values()]
    if reels != [history.name]:
        raise Broken(f"it tells of {reels}")
    serial = history.name.removeprefix("reel:")
    records = {row["inspection_id"]: row["digest"] for row in history.table(RECORDS).values()}
    for number in sorted(records):
        check_inspection(folder, serial, number, history, register, made, report)
    check_rows(serial, history, records, report)
    for row in history.table(DOCUMENTS).values():
        where = f"{serial}, document {row['number']} of inspection {row['inspection_id']}"
        report.of(where, check_document, folder, row, records)
    for table, of, shown_by in ((PHOTOS, "keying_id", KEYINGS), (FINDING_PHOTOS, "finding_id", FINDINGS)):
        for row in history.table(table).values():
            if (shown_by, row[of]) in history.shown:  # what is still blind stays where it is
                report.of(f"{serial}, photo {row['digest'][:12]}", check_photo, folder, row, photos)


def check_inspection(
    folder: Folder, serial: str, number: int, history: History, register: History, made: str, report: Report
) -> None:
    what = f"{serial}, inspection {number}"
    inspection = report.of(what, check_record, folder, number, history, register)
    if inspection and inspection["state"] in ("signed", "voided"):
        if stands := report.of(what, how_it_stands, inspection, made, history, register):
            report.stands(what, *stands)
    elif inspection:
        print(f"{what}: {inspection['state'].replace('_', ' ')}; signed by one of the two.")


def check_rows(serial: str, history: History, records: dict[int, str], report: Report) -> None:
    """That every signed count has a record, and all setup values are from a signed count; how those stand."""
    for number, row in sorted(history.table(INSPECTIONS).items()):
        if row["state"] in ("signed", "voided") and number not in records:
            report.broken(f"{serial}: inspection {number} is {row['state']}, and the history tells of no record of it")
    for number, row in sorted(history.table(SETUP_VALUES).items()):
        what = f"{serial}, setup values {number} from inspection {row['inspection_id']}"
        report.of(what, check_setup_values, row, history)
        why = f"{row['withdrawn_at']}: {row['withdrawn_why']}" if row["withdrawn_at"] else ""
        report.stands(what, "withdrawn" if why else "stands", why)


def check_histories(folder: Folder, signed: dict[str, str], report: Report) -> set[str]:
    """The names of the histories that are whole, and whose records were looked at."""
    register, whole, photos = History(), set(), set[str]()
    register_name = report.of("the register", check_one_history, folder, stem("register"), signed, register.take)
    if register_name is None:
        report.broken("without the register nobody's authorisation can be checked, so nothing else was looked at")
        return set()
    whole.add(register_name)
    for path in sorted(each for each in folder.unread if re.fullmatch(r"histories/[^/]+\.jsonl", each)):
        history = History()
        name = path.removeprefix("histories/").removesuffix(".jsonl")
        if report.of(path, check_one_history, folder, name, signed, history.take):
            whole.add(history.name)
            report.of(history.name, check_reel, folder, history, register, signed["made"], report, photos)
    return whole


PRACTICE = "practice"  # a history of exercises, which are no record: only its end is shown, so that it can be counted


def run_all(path: str, key: str, *kept: str) -> str:
    folder, report = Folder(path), Report()
    signed = checkpoint(folder.text("checkpoint.txt"), key)
    about = folder.json("evidence.json")
    if about["form"] != 1:
        raise Broken(f"this is a folder of form {about['form']}; known here is form 1")
    report.of("README.txt", folder.take, "README.txt")
    report.of("keys.txt", check_keys, folder, signed)
    copy = report.of("check_records.py", folder.take, "check_records.py")
    if copy and copy.read_bytes() != Path(__file__).read_bytes():
        print("check_records.py in the folder is another one than this, which is the one that looks now.")
    since = report.of("the earlier checkpoint", check_since, folder, signed, key, text(kept[0]) if kept else None)
    witnessed = check_witnesses(folder, report)
    whole = check_histories(folder, signed, report)
    if folder.has(f"ends/{stem(PRACTICE)}.json"):
        report.of(PRACTICE, check_practice, folder, signed)
        whole.add(PRACTICE)
    if about["whole"] is True and len(whole) != int(signed["chains"]):
        report.broken(f"the service had {signed['chains']} histories, and {len(whole)} of them are here and hold")
    for name in sorted(folder.unread):
        report.broken(f"{name!a} is here, and nothing names it")
    stands = ", ".join(f"{number} {word}" for word, number in sorted(report.words.items())) or "no records"
    extent = "all" if about["whole"] is True else "the folder shows nothing of the others"
    says = (
        f"As of {signed['made']}: {len(whole)} of the {signed['chains']} histories that the service had ({extent}); "
        f"{stands}.{since or ''}{witnessed}"
    )
    if report.faults:
        raise Broken(f"{report.faults} in all. {says.removesuffix('.')}")
    return says


def check_practice(folder: Folder, signed: dict[str, str]) -> None:
    proof = folder.json(f"ends/{stem(PRACTICE)}.json")
    check_leaf(PRACTICE, bytes.fromhex(proof["end"]), signed, proof)


# Witnesses ----------------------------------------------------------------------------------------------------------

WITNESS_HEADING = "Wrapledger countersignature, form 1\n"


def countersignature(signed: str, key: str, checkpoint_text: str) -> dict[str, str]:
    """What a countersignature says, once it holds for a witness's key and is for this checkpoint."""
    body, label, signature = signed.partition("signature: ")
    if not label or not body.startswith(WITNESS_HEADING):
        raise Broken("this is not a countersignature of form 1")
    if not is_signed(body, signature, key):
        raise Broken("the countersignature does not hold for this witness's key")
    says = dict(line.split(": ", 1) for line in body.splitlines()[1:])
    if says["checkpoint"] != sha256(checkpoint_text.encode()):
        raise Broken(f"{says['witness']} countersigned another checkpoint, over {says['entries']} entries")
    return says


def check_goes_on(last: dict[str, str], new: dict[str, str], proof: dict[str, Any]) -> None:
    """That a checkpoint goes on from the one that a witness countersigned last."""
    if new["service"] != last["service"]:
        raise Broken(f"it is of the service {new['service']}, and the last one was of {last['service']}")
    if int(new["entries"]) < int(last["entries"]):
        raise Broken(
            f"it covers {new['entries']} entries and the one you signed last {last['entries']}: it is an older one, "
            "or entries were removed, or an old backup was restored"
        )
    check_consistency(last, new, proof)
    is_same = new["entries"] == last["entries"]
    if "ends" in last and ("ends" not in new or (is_same and new["ends"] != last["ends"])):
        raise Broken("the histories that it covers do not end where those of the one you signed last did")


def keep_refused(own: Path, why: Broken, later: str, proof: list[str]) -> Broken:
    """Both checkpoints, in a folder of their own: each is signed by the service, and they can't both be true."""
    kept = own / f"refused-{sha256(later.encode())[:12]}"
    kept.mkdir(exist_ok=True)
    files = {"earlier.txt": text(str(own / "last.txt")), "later.txt": later, "proof.json": "".join(map(text, proof))}
    for name, content in files.items():
        (kept / name).write_text(content, encoding="utf-8")
    return Broken(
        f"REFUSED, NOTHING WAS COUNTERSIGNED: {why}. Both checkpoints are kept in {kept}. Unless it is an older one by "
        "mistake, the service tells two histories, or has lost records: keep both, and tell whoever relies on it"
    )


def run_witness_key(folder: str, name: str) -> str:
    own, key = Path(folder), Ed25519PrivateKey.generate()
    if name != " ".join(name.split()) or not 0 < len(name) <= 120:
        raise ValueError(f"a name is up to 120 characters in one line; seen: {name!a}")
    own.mkdir(parents=True, exist_ok=True)
    pem = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    with os.fdopen(os.open(own / "witness_key.pem", os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as made:
        made.write(pem)
    (own / "name.txt").write_text(f"{name}\n", encoding="utf-8")
    return f"The public key of {name}, for the service's administrator: {key.public_key().public_bytes_raw().hex()}"


def run_witness(folder: str, signed_path: str, key: str, *proof: str) -> str:
    own, new_text = Path(folder), text(signed_path)
    new, last_path = checkpoint(new_text, key), own / "last.txt"
    made = own / f"countersignature-{new['entries']}.txt"
    last_text = text(str(last_path)) if last_path.exists() else ""
    if last_text == new_text and made.exists():
        return f"It is countersigned already: {made}."
    if last_text:
        last = checkpoint(last_text, key)
        if not proof and int(new["entries"]) > int(last["entries"]):
            raise ValueError(f"PROOF.json is missing: the service's consistency proof from {last['entries']} entries")
        try:
            check_goes_on(last, new, json.loads(text(proof[0])) if proof else {"hashes": []})
        except Broken as why:
            raise keep_refused(own, why, new_text, list(proof)) from None
    after = last["entries"] if last_text else "none"
    made.write_text(countersigned(own, new_text, new["entries"], after), encoding="utf-8")
    (own / "last.txt.new").write_text(new_text, encoding="utf-8")
    os.replace(own / "last.txt.new", last_path)
    if after == "none":
        return f"Countersigned, as the first: nothing earlier was there to compare with. For the service: {made}."
    return f"It goes on from the one over {after} entries that you signed last. Countersigned, for the service: {made}."


def countersigned(own: Path, checkpoint_text: str, entries: str, after: str) -> str:
    """after: how many entries the one before covers, or none."""
    key = serialization.load_pem_private_key((own / "witness_key.pem").read_bytes(), password=None)
    if not isinstance(key, Ed25519PrivateKey):
        raise TypeError("witness_key.pem holds another kind of key than Ed25519")
    body = (
        f"{WITNESS_HEADING}witness: {text(str(own / 'name.txt')).strip()}\n"
        f"checkpoint: {sha256(checkpoint_text.encode())}\nentries: {entries}\nafter: {after}\n"
        f"signed: {datetime.now(UTC):%Y-%m-%dT%H:%M:%S.%fZ}\nkey: {key.public_key().public_bytes_raw().hex()}\n"
    )
    return f"{body}signature: {key.sign(body.encode()).hex()}\n"


def run_witnessed(path: str, key: str, *pairs: str) -> str:
    signed_text = text(path)
    signed = checkpoint(signed_text, key)
    signatures = [
        countersignature(text(each), witness_key, signed_text)
        for each, witness_key in zip(pairs[::2], pairs[1::2], strict=True)
    ]
    if len({each["key"] for each in signatures}) < len(signatures):
        raise Broken("two of these are by one key: each witness counts once")
    by = "; ".join(f"{each['witness']}, {each['signed']}, after {each['after']} entries" for each in signatures)
    return (
        f"The checkpoint of {signed['made']} over {signed['entries']} entries is witnessed by {len(signatures)}: {by}."
    )


# Commands -----------------------------------------------------------------------------------------------------------


def text(path: str) -> str:
    return Path(path).read_text(encoding="utf-8")


def run_checkpoint(path: str, key: str) -> str:
    signed = checkpoint(text(path), key)
    return f"The checkpoint of {signed['made']} over {signed['entries']} entries in {signed['chains']} chains holds."


def run_history(path: str, *rest: str) -> str:
    with Path(path).open(encoding="utf-8") as lines:
        name, digests = check_history(lines)
    follows = f"{name}: {len(digests)} entries, each follows the one before; the last is {digests[-1]}"
    if not rest:
        return f"{follows}. Whether more came after it is not shown here."
    signed_path, key, proof_path = rest
    covered = check_inclusion(digests, checkpoint(text(signed_path), key), json.loads(text(proof_path)))
    return (
        f"{follows}. The first {covered} were there when the checkpoint was made; that there were no more then is "
        "shown by `end`, not here."
    )


def run_end(path: str, signed_path: str, key: str, proof_path: str) -> str:
    with Path(path).open(encoding="utf-8") as lines:
        name, digests = check_history(lines)
    count = check_end(name, digests, checkpoint(text(signed_path), key), json.loads(text(proof_path)))
    since = f"; {len(digests) - count} came since" if count < len(digests) else ""
    return f"{name}: {len(digests)} entries, whole; {count} were all there were when the checkpoint was made{since}."


def run_absent(name: str, signed_path: str, key: str, proof_path: str) -> str:
    check_absent(name, checkpoint(text(signed_path), key), json.loads(text(proof_path)))
    return f"There was no history {name} when the checkpoint was made."


def run_consistency(earlier: str, later: str, key: str, proof: str) -> str:
    check_consistency(checkpoint(text(earlier), key), checkpoint(text(later), key), json.loads(text(proof)))
    return "Nothing that the earlier checkpoint covers was changed, removed or put in between since."


def run_signatures(path: str, history_path: str, signed_path: str, key: str, proof_path: str) -> str:
    exported, history, digests = json.loads(text(path)), History(), []
    with Path(history_path).open(encoding="utf-8") as lines:
        for entry, digest in entries_of(lines):
            history.take(entry)
            digests.append(digest)
    signed = checkpoint(text(signed_path), key)
    if check_end(history.name, digests, signed, json.loads(text(proof_path))) < len(digests):
        raise Broken("the history goes on after the checkpoint, which shows nothing of how it stands since")
    statements = check_signatures(exported)
    inspection = check_recorded(exported, statements, history)
    by = "; ".join(f"“{each['meaning']}” by {each['person']['name']}, {each['at']}" for each in statements)
    if len(statements) < 2:
        raise Broken(f"there is one signature of two: {by}")
    word = "VOIDED since" if inspection["state"] == "voided" else "not voided when the checkpoint was made"
    return f"Inspection {inspection['id']}, {word}: both signatures hold and were recorded: {by}."


COMMANDS = {
    "all": (run_all, (2, 3)),
    "checkpoint": (run_checkpoint, (2,)),
    "history": (run_history, (1, 4)),
    "end": (run_end, (4,)),
    "absent": (run_absent, (4,)),
    "consistency": (run_consistency, (4,)),
    "signatures": (run_signatures, (5,)),
    "witness-key": (run_witness_key, (2,)),
    "witness": (run_witness, (3, 4)),
    "witnessed": (run_witnessed, range(4, 102, 2)),
}


def main(arguments: list[str]) -> int:
    sys.stdout.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]  # whatever letters a console lacks
    name, *rest = arguments or [""]
    command, counts = COMMANDS.get(name, (None, ()))
    if command is None or len(rest) not in counts:
        print(__doc__)
        return 2
    try:
        print(command(*rest))  # type: ignore[operator]  # each takes the files that it names
    except Broken as broken:
        print(f"BROKEN: {broken}.")
        return 1
    except (OSError, ValueError, KeyError, TypeError) as unreadable:
        print(f"This cannot be read: {type(unreadable).__name__}: {unreadable}.")
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
