"""Checkpoints and their proofs, and histories in the form in which they are checked without this service.

The forms are those of deploy/handbook/check_records.py. A proof is made of hashes alone, so whoever is logged in may
ask for one.
"""

from typing import Any

from django.http import HttpResponse
from rest_framework import serializers

from reels import access
from reels.api.act_fields import body_of
from reels.api.endpoints import Call, Endpoint, create, read, read_file
from reels.api.fields import Maybe, Moment, Named, Number, Text, Whole, YesNo
from reels.api.forms import Out, PageQuery, Query
from reels.api.paging import Page
from reels.api.serializers import ReasonIn
from reels.domain import ledger
from reels.domain.act_fields import CountersignatureFields, WitnessFields
from reels.models import Countersignature, Witness
from reels.services import checkpoints, witnesses

JSON_LINES = "application/jsonl"


class CheckpointOut(Out):
    entries = Number(help_text="How many entries it covers; each checkpoint has another number.")
    root = Text(  # type: ignore[assignment]  # the word of RFC 9162
        help_text="The root of the Merkle tree over them (RFC 9162), hexadecimal."
    )
    ends_root = Text(help_text="The root over the ends of all chains, hexadecimal; empty in form 1. See records.md.")
    made_at = Moment()
    text = Text(help_text="The signed text. Keep it elsewhere; check it with check_records.py.")


class HashesOut(Out):
    hashes = serializers.ListField(child=Text(), help_text="Hexadecimal, as RFC 9162 section 2.1 has them.")


class InclusionOut(HashesOut):
    index = Whole(max_value=None, help_text="From 0.")
    size = Number()


class ConsistencyOut(HashesOut):
    first = Number()
    second = Number()


class EndOut(Out):
    is_there = YesNo(help_text="Whether the checkpoint has this chain.")
    key = Text(
        help_text="Of the leaf that the way ends in, hexadecimal: the chain's own, or another's; else null.",
        allow_null=True,
    )
    end = Text(help_text="The hash of that leaf's length and head.", allow_null=True)
    hashes = serializers.ListField(child=Text(), help_text="Hexadecimal, from the leaf up; see records.md.")


class EndQuery(Query):
    chain = Text(max_length=80, help_text="The chain's name: `reel:` and the serial, or `register`.")


class InclusionQuery(Query):
    digest = Named(r"[0-9a-f]{64}", help_text="Of a history entry.")


class ConsistencyQuery(Query):
    def get_fields(self) -> dict[str, Any]:  # `from` can't be an attribute
        entries = serializers.IntegerField(min_value=1, max_value=10**18, help_text="Of the earlier checkpoint.")
        return {"from": entries}


class CheckpointListEndpoint(Endpoint):
    @read("checkpoints_list", CheckpointOut, query=PageQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """Every checkpoint that was made, the latest first."""
        return call.page(checkpoints.all_made(), "-entries", "-id")

    @create("checkpoints_make", CheckpointOut)
    def post(self, call: Call) -> Any:
        """Make a checkpoint, for administrators; the last one again when nothing was recorded since."""
        return checkpoints.make_for(call.actor, call.at)


class CheckpointDetailEndpoint(Endpoint):
    @read("checkpoints_show", CheckpointOut)
    def get(self, call: Call, entries: int) -> Any:
        """One checkpoint, by how many entries it covers."""
        return checkpoints.one_made(entries)


class CheckpointInclusionEndpoint(Endpoint):
    @read("checkpoints_inclusion", InclusionOut, query=InclusionQuery)
    def get(self, call: Call, entries: int) -> Any:
        """The proof that a history entry was there when the checkpoint was made."""
        return checkpoints.inclusion(entries, call.query["digest"])


class CheckpointConsistencyEndpoint(Endpoint):
    @read("checkpoints_consistency", ConsistencyOut, query=ConsistencyQuery)
    def get(self, call: Call, entries: int) -> Any:
        """The proof that an earlier checkpoint's entries are the beginning of this one's."""
        return checkpoints.consistency(call.query["from"], entries)


class CheckpointEndEndpoint(Endpoint):
    @read("checkpoints_end", EndOut, query=EndQuery)
    def get(self, call: Call, entries: int) -> Any:
        """The proof of a chain's end when the checkpoint was made, or that there was no such chain."""
        return checkpoints.chain_path(entries, call.query["chain"])


# Witnesses ----------------------------------------------------------------------------------------------------------


class WitnessOut(Out):
    id = Number()
    name = Text()
    key = Text(help_text="Its Ed25519 public key, hexadecimal.")
    added_at = Moment()
    ended_at = Moment(allow_null=True)
    end_reason = Maybe()


class CountersignatureOut(Out):
    witness = Text(source="witness.name")
    key = Text(source="witness.key", help_text="The witness's; trust the one that you have from the witness itself.")
    entries = Number(help_text="Of the checkpoint.")
    signed_at = Moment(help_text="By the witness's clock.")
    recorded_at = Moment()
    text = Text(help_text="As the witness made it; check it with check_records.py witnessed.")


WitnessIn = body_of(WitnessFields, "WitnessIn")
CountersignatureIn = body_of(CountersignatureFields, "CountersignatureIn")


class WitnessListEndpoint(Endpoint):
    @read("witnesses_list", WitnessOut, query=PageQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """Every witness, ended ones too."""
        return call.page(access.witnesses(), "name", "id")

    @create("witnesses_add", WitnessOut, WitnessIn)
    def post(self, call: Call) -> Witness:
        """Register a witness with its public key, for administrators."""
        return witnesses.add_witness(actor=call.actor, at=call.at, **call.payload)


class WitnessEndEndpoint(Endpoint):
    @create("witnesses_end", WitnessOut, ReasonIn, status=200)
    def post(self, call: Call, witness_id: int) -> Witness:
        """Take nothing more from a witness, for administrators. What it countersigned stays."""
        access.only_administrators(call.actor.person)
        return witnesses.end_witness(access.witness(witness_id), actor=call.actor, at=call.at, **call.payload)


class CountersignatureListEndpoint(Endpoint):
    @read("checkpoints_witnesses", CountersignatureOut, query=PageQuery, is_page=True)
    def get(self, call: Call, entries: int) -> Page:
        """By whom a checkpoint is countersigned, the first first."""
        return call.page(witnesses.countersignatures_of(entries), "recorded_at", "id")

    @create("checkpoints_countersign", CountersignatureOut, CountersignatureIn)
    def post(self, call: Call, entries: int) -> Countersignature:
        """Hand in a witness's countersignature of this checkpoint; the same again gives the one that is kept."""
        return witnesses.take_countersignature(entries, actor=call.actor, at=call.at, **call.payload)


# Histories ----------------------------------------------------------------------------------------------------------


class HistoryExportEndpoint(Endpoint):
    @read_file("reels_history_export", JSON_LINES, may_be_stale=True)
    def get(self, call: Call, serial: str) -> HttpResponse:
        """Every entry of a reel's history as its stored bytes: a line {"content": base64} for each."""
        reel = access.reel_for_read(serial, call.actor.person, call.at)
        contents = access.readable_history(reel).values_list("content", flat=True)
        lines = "".join(ledger.exported(bytes(content)) for content in contents)
        return HttpResponse(lines, content_type=JSON_LINES)
