"""What is done to folders of evidence in the study of them, each with what the checker says of it."""

import base64
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from inspections.domain.keying import commitment
from inspections.domain.words import Point
from reels.domain import checkpoint, ledger
from reports.services.evidence import stem_of
from tests.inspections.domain.photo_files import JPEG_BYTES
from tests.reports.evidence_folders import HandledFolder
from tests.witnessing import NAME, countersigned_text

REEL = "reel:LW-0001"


# Changed by whoever hands it on -------------------------------------------------------------------------------------


def withhold_an_end(folder: HandledFolder) -> None:
    folder.history(REEL).write_text("".join(folder.lines(REEL)[:-2]))


def leave_a_void_out(folder: HandledFolder) -> None:
    """Everything from when it was asked for, and the documents that show it."""
    entries = folder.entries("reel:LW-0002")
    asked = next(number for number, entry in enumerate(entries) if entry["act"] == "void_asked")
    folder.write("reel:LW-0002", entries[:asked])


def withhold_a_chain(folder: HandledFolder) -> None:
    for name in (f"histories/{stem_of('reel:LW-0008')}.jsonl", f"ends/{stem_of('reel:LW-0008')}.json"):
        folder.file(name).unlink()
    forget_inspections(folder, "reel:LW-0008")


def forget_inspections(folder: HandledFolder, chain: str) -> None:
    for path in records_of(folder, chain):
        path.unlink()
        for document in folder.path.glob(f"documents/inspection-{path.stem}-*.pdf"):
            document.unlink()


def records_of(folder: HandledFolder, chain: str) -> list[Path]:
    serial = f'"serial":"{chain.removeprefix("reel:")}"'.encode()
    paths = sorted(folder.file("records").iterdir())
    return [path for path in paths if serial in base64.b64decode(json.loads(path.read_text())["record"])]


def call_it_a_part(folder: HandledFolder) -> None:
    withhold_a_chain(folder)
    folder.file("evidence.json").write_text('{"form": 1, "whole": false}')


def rewrite_the_register(folder: HandledFolder) -> None:
    """Everybody may do everything everywhere."""
    folder.change_row("register", "inspections_authorisation", lambda row: row.update(site_id=None))


def withhold_the_end_of_the_register(folder: HandledFolder) -> None:
    folder.history("register").write_text("".join(folder.lines("register")[:-1]))


def go_without_the_register(folder: HandledFolder) -> None:
    folder.history("register").unlink()


def add_an_entry(folder: HandledFolder) -> None:
    entries = folder.entries(REEL)
    folder.write(REEL, [*entries, {**entries[-1], "act": "hold_placed", "changes": []}])


def show_one_signature(folder: HandledFolder) -> None:
    path = records_of(folder, REEL)[0]
    exported = json.loads(path.read_text())
    path.write_text(json.dumps({**exported, "signatures": exported["signatures"][:1]}))


def show_a_signature_twice(folder: HandledFolder) -> None:
    path = records_of(folder, REEL)[0]
    exported = json.loads(path.read_text())
    path.write_text(json.dumps({**exported, "signatures": [exported["signatures"][0]] * 2}))


def forge_an_authorisation(folder: HandledFolder) -> None:
    path = records_of(folder, REEL)[0]
    exported = json.loads(path.read_text())
    statement = json.loads(base64.b64decode(exported["signatures"][0]["statement"]))
    statement["authorisation"] = {**statement["authorisation"], "site": None, "id": 1}
    content = ledger.canonical(statement)
    exported["signatures"][0].update(statement=base64.b64encode(content).decode(), digest=ledger.digest(content))
    path.write_text(json.dumps(exported))


def put_a_name_in(folder: HandledFolder) -> None:
    path = records_of(folder, REEL)[0]
    exported = json.loads(path.read_text())
    statement = base64.b64decode(exported["signatures"][0]["statement"]).replace(b"Tess", b"Bess")
    exported["signatures"][0]["statement"] = base64.b64encode(statement).decode()
    path.write_text(json.dumps(exported))


def change_a_blind_value(folder: HandledFolder) -> None:
    """In the record, and with statements that name it."""
    name = records_of(folder, REEL)[0].relative_to(folder.path).as_posix()
    exported = folder.record(name)
    record = json.loads(base64.b64decode(exported["record"]))
    keyed = next(each for each in record["readings"][0]["keyed"] if each["point"] == "hand_count")
    keyed["value"] = 11
    keyed["commitment"] = commitment(Point.HAND_COUNT, 11, keyed["salt"])
    folder.write_record(name, exported, ledger.canonical(record))


def exchange_two_records(folder: HandledFolder) -> None:
    """Of one reel, whose history tells of both."""
    one, two = records_of(folder, "reel:LW-0004")
    first, second = one.read_bytes(), two.read_bytes()
    one.write_bytes(second)
    two.write_bytes(first)


def exchange_two_documents(folder: HandledFolder) -> None:
    one, two = sorted(folder.file("documents").iterdir())[:2]
    first, second = one.read_bytes(), two.read_bytes()
    one.write_bytes(second)
    two.write_bytes(first)


def add_to_a_document(folder: HandledFolder) -> None:
    path = folder.one("documents/*.pdf")
    path.write_bytes(path.read_bytes() + b"\n% more\n")


def leave_a_document_out(folder: HandledFolder) -> None:
    folder.one("documents/*.pdf").unlink()


def put_another_photo_in(folder: HandledFolder) -> None:
    folder.one("photos/*.png").write_bytes(JPEG_BYTES)


def leave_a_photo_out(folder: HandledFolder) -> None:
    folder.one("photos/*.jpg").unlink()


def put_a_file_in(folder: HandledFolder) -> None:
    folder.file("records/9999.json").write_text("{}")


def put_a_link_in(folder: HandledFolder) -> None:
    path = folder.one("photos/*.jpg")
    path.unlink()
    path.symlink_to("/dev/zero")


def another_services_checkpoint(folder: HandledFolder) -> None:
    key, path = Ed25519PrivateKey.generate(), folder.file("checkpoint.txt")
    body, label, _ = path.read_text().partition(checkpoint.SIGNATURE_LABEL)
    body = body.replace(checkpoint.lines_of(body)["key"], checkpoint.public_hex(key))
    path.write_text(f"{body}{label}{key.sign(body.encode()).hex()}\n")
    folder.file("keys.txt").write_text(f"{checkpoint.public_hex(key)}\n")


def edit_the_checkpoint(folder: HandledFolder) -> None:
    path = folder.file("checkpoint.txt")
    path.write_text(path.read_text().replace("chains: ", "chains: 1"))


def exchange_two_ends(folder: HandledFolder) -> None:
    for name in (REEL, "reel:LW-0002"):
        shutil.move(folder.file(f"ends/{stem_of(name)}.json"), folder.file(f"ends/x{name[-1]}"))
    shutil.move(folder.file("ends/x1"), folder.file(f"ends/{stem_of('reel:LW-0002')}.json"))
    shutil.move(folder.file("ends/x2"), folder.file(f"ends/{stem_of(REEL)}.json"))


def show_a_history_under_another_name(folder: HandledFolder) -> None:
    shutil.copy(folder.history(REEL), folder.history("reel:LW-0002"))


def forge_the_consistency(folder: HandledFolder) -> None:
    path = folder.file("consistency.json")
    proof = json.loads(path.read_text())
    path.write_text(json.dumps({**proof, "hashes": ["00" * 32] * len(proof["hashes"])}))


def put_countersignature_in(folder: HandledFolder, text: str) -> None:
    folder.file("countersignatures").mkdir(exist_ok=True)
    folder.file("countersignatures/1-1.txt").write_text(text)


def show_the_countersignature_of_another_checkpoint(folder: HandledFolder) -> None:
    put_countersignature_in(folder, countersigned_text(folder.file("since.txt").read_text() + "\n"))


def edit_a_countersignature(folder: HandledFolder) -> None:
    text = countersigned_text(folder.file("since.txt").read_text())
    put_countersignature_in(folder, text.replace(NAME, "Teal Harbour"))


HANDED_ON: dict[str, tuple[Callable[[HandledFolder], None], str]] = {
    "the end of a history withheld": (withhold_an_end, "had another end when the checkpoint was made"),
    "a void left out": (leave_a_void_out, "had another end when the checkpoint was made"),
    "a history withheld": (withhold_a_chain, "of them are here and hold"),
    "the register rewritten": (rewrite_the_register, "had another end when the checkpoint was made"),
    "the end of the register withheld": (
        withhold_the_end_of_the_register, "had another end when the checkpoint was made"
    ),
    "the register left out": (go_without_the_register, "nobody's authorisation can be checked"),
    "an entry added after the checkpoint": (add_an_entry, "had another end when the checkpoint was made"),
    "the proofs of two ends exchanged": (exchange_two_ends, "had another end when the checkpoint was made"),
    "a history shown as another reel's": (show_a_history_under_another_name, "whose file is called"),
    "one signature of two": (show_one_signature, "is missing"),
    "one signature shown twice": (show_a_signature_twice, "two signatures are by the same person"),
    "a forged authorisation in a statement": (forge_an_authorisation, "tells of no signature with the digest"),
    "another name in a statement": (put_a_name_in, "was changed"),
    "a blind value changed, with the signatures over it": (change_a_blind_value, "tells of no record with the digest"),
    "two records exchanged": (exchange_two_records, "the record is of inspection"),
    "two documents exchanged": (exchange_two_documents, "not the file that was kept"),
    "bytes added to a document": (add_to_a_document, "not the file that was kept"),
    "a document left out": (leave_a_document_out, ".pdf is missing"),
    "a photo exchanged": (put_another_photo_in, "not the photo that was kept"),
    "a photo left out": (leave_a_photo_out, ".jpg is missing"),
    "a file put in": (put_a_file_in, "is here, and nothing names it"),
    "a link put in": (put_a_link_in, "is no file, but a link or a device"),
    "the checkpoint of another service": (another_services_checkpoint, "signature does not hold for this key"),
    "the checkpoint edited": (edit_the_checkpoint, "signature does not hold for this key"),
    "the proof since an earlier checkpoint forged": (forge_the_consistency, "something was changed, removed or put in"),
    "a witness's signature of another checkpoint": (
        show_the_countersignature_of_another_checkpoint, "is of no checkpoint that is here"
    ),
    "a witness's signature edited": (edit_a_countersignature, "does not hold for this witness's key"),
}  # fmt: skip


# Let through by whoever runs the service, with its key --------------------------------------------------------------


def let_through(table: str, chain: str = REEL, **columns: Any) -> Callable[[HandledFolder], None]:
    """A row that was stored as it may not be; all digests, proofs and the checkpoint fit."""

    def change(folder: HandledFolder) -> None:
        folder.change_row(chain, table, lambda row: row.update(columns))
        folder.seal()

    return change


def authorised_otherwise(**columns: Any) -> Callable[[HandledFolder], None]:
    return let_through("inspections_authorisation", "register", **columns)


def authorise_oneself(folder: HandledFolder) -> None:
    folder.change_row(
        "register", "inspections_authorisation", lambda row: row.update(granted_by_id=row["person_id"])
    )  # fmt: skip
    folder.seal()


def authorise_afterwards(folder: HandledFolder) -> None:
    entries = folder.entries("register")
    for entry in entries:
        if entry["act"] == "authorisation_granted":
            entry["at"] = "2026-11-01T00:00:00.000000Z"
    folder.write("register", entries)
    folder.seal()


def end_it_before(folder: HandledFolder) -> None:
    entries = folder.entries("register")
    for entry in entries:
        if entry["act"] == "authorisation_ended":
            entry["changes"][0]["after"]["ended_at"] = "2026-01-01T00:00:00.000000Z"
    folder.write("register", entries)
    folder.seal()


def without_entries(*acts: str, chain: str = REEL) -> Callable[[HandledFolder], None]:
    def change(folder: HandledFolder) -> None:
        folder.write(chain, [entry for entry in folder.entries(chain) if entry["act"] not in acts])
        folder.seal()

    return change


def sign_alone(folder: HandledFolder) -> None:
    """The second signature was never given, and the count is signed all the same."""
    entries = folder.entries(REEL)
    for entry in entries:
        entry["changes"] = [
            each for each in entry["changes"]
            if each["table"] != "inspections_signoff" or each["after"]["meaning"] == "counted"
        ]  # fmt: skip
    folder.write(REEL, entries)
    path = records_of(folder, REEL)[0]
    exported = json.loads(path.read_text())
    path.write_text(json.dumps({**exported, "signatures": exported["signatures"][:1]}))
    folder.seal()


def tell_another_value(folder: HandledFolder) -> None:
    """What is told once it is no longer blind is not what was keyed."""
    entries = folder.entries(REEL)
    fact = next(each for entry in entries for each in entry["facts"].get("revealed", ()))
    fact["value"] = "X"
    folder.write(REEL, entries)
    folder.seal()


def commit_to_another_value(folder: HandledFolder) -> None:
    folder.change_row(
        REEL, "inspections_keying",
        lambda row: row.update(commitment="00" * 32) if row["point"] == "hand_count" else None,
    )  # fmt: skip
    entries = folder.entries(REEL)
    for entry in entries:
        entry["facts"].pop("revealed", None)
    folder.write(REEL, entries)
    folder.seal()


LET_THROUGH: dict[str, tuple[Callable[[HandledFolder], None], str]] = {
    "signed under somebody else's authorisation": (authorised_otherwise(person_id=1), "was somebody else's"),
    "signed under an authorisation that they gave themselves": (authorise_oneself, "was given by themselves"),
    "signed under an authorisation for another act": (authorised_otherwise(act="set"), "is for another act"),
    "signed under an authorisation for another site": (authorised_otherwise(site_id=2), "is for another site"),
    "signed under an authorisation for another reel type": (
        authorised_otherwise(reel_type_id=77), "is for another reel type"
    ),
    "signed before the authorisation began": (
        authorised_otherwise(valid_from="2027-01-01T00:00:00.000000Z"), "had not begun"
    ),
    "signed after the authorisation had run out": (
        authorised_otherwise(valid_until="2026-01-01T00:00:00.000000Z"), "had run out"
    ),
    "signed after the authorisation had been ended": (end_it_before, "had been ended"),
    "authorised only afterwards": (authorise_afterwards, "was given afterwards"),
    "signed under no authorisation": (
        without_entries("authorisation_granted", "authorisation_ended", chain="register"), "tells of no such"
    ),
    "one signature of two, and signed all the same": (sign_alone, "its signatures say ['counted']"),
    "a record that the signatures are not for": (
        let_through("inspections_signoff", record_digest="00" * 32), "says record"
    ),
    "setup values that are not the result": (let_through("inspections_setupvalues", layers=9), "not the result of"),
    "another value told than was keyed": (tell_another_value, "tells another value"),
    "another value signed than was committed to": (commit_to_another_value, "is not what was committed to"),
    "a document drawn up from another record": (
        let_through("reports_archivedpdf", record_digest="00" * 32), "drawn up from another record"
    ),
    "an entry that does not follow": (without_entries("count_opened"), "does not follow"),
}  # fmt: skip
