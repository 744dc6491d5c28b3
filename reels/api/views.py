"""Sites, reel types, publications, machines and histories."""

from typing import Any

from reels import access
from reels.api import serializers as shapes
from reels.api import type_serializers as types
from reels.api.endpoints import Call, Endpoint, create, read, tag_of_columns, update
from reels.api.forms import PageQuery
from reels.api.paging import Page
from reels.domain.type_rules import TypeRule
from reels.models import Machine, Publication, ReelType, Site
from reels.queries import matching, publications_in_force
from reels.services import feed, register

# Reference data -----------------------------------------------------------------------------------------------------


class SiteListEndpoint(Endpoint):
    @read("sites_list", shapes.SiteOut, query=PageQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """The sites at which one is posted."""
        return call.page(access.readable_sites(call.actor.person, call.at), "code", "id")

    @create("sites_add", shapes.SiteOut, shapes.SiteIn, tag=tag_of_columns)
    def post(self, call: Call) -> Site:
        """A new site, for administrators."""
        return register.add_site(actor=call.actor, at=call.at, **call.payload)


class SiteDetailEndpoint(Endpoint):
    @read("sites_show", shapes.SiteOut, tag=tag_of_columns)
    def get(self, call: Call, code: str) -> Site:
        """One site."""
        return access.one(access.readable_sites(call.actor.person, call.at), "site", code=code)

    @update("sites_change", shapes.SiteOut, shapes.SitePatch)
    def patch(self, call: Call, code: str) -> Site:
        """Change a site's name or time zone, for administrators."""
        site = access.site(code)
        register.change(site, actor=call.actor, at=call.at, **call.payload)
        return site

    def tag_under_lock(self, call: Call, **path: Any) -> str:
        access.only_administrators(call.actor.person)
        access.lock_register()
        return tag_of_columns(access.site(path["code"]))


class ReelTypeListEndpoint(Endpoint):
    @read("reel_types_list", types.ReelTypeOut, query=PageQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """Every reel type."""
        return call.page(access.reel_types(), "code", "id")

    @create("reel_types_add", types.ReelTypeOut, types.ReelTypeIn, tag=tag_of_columns)
    def post(self, call: Call) -> ReelType:
        """A new reel type, for administrators."""
        return register.add_reel_type(actor=call.actor, at=call.at, **call.payload)


class ReelTypeDetailEndpoint(Endpoint):
    @read("reel_types_show", types.ReelTypeOut, tag=tag_of_columns)
    def get(self, call: Call, code: str) -> ReelType:
        """One reel type."""
        return access.reel_type(code)

    @update("reel_types_change", types.ReelTypeOut, types.ReelTypePatch)
    def patch(self, call: Call, code: str) -> ReelType:
        """Put a reel type right, for administrators. A count under way keeps the parameters it was opened with."""
        reel_type = access.reel_type(code)
        register.change(reel_type, actor=call.actor, at=call.at, **call.payload)
        return reel_type

    def tag_under_lock(self, call: Call, **path: Any) -> str:
        access.only_administrators(call.actor.person)
        access.lock_register()
        return tag_of_columns(access.reel_type(path["code"]))


class RuleSourcesEndpoint(Endpoint):
    @create("reel_types_source_rules", types.ReelTypeOut, shapes.RuleSourcesIn, status=200)
    def post(self, call: Call, code: str) -> ReelType:
        """Say where rules of a reel type are written, for administrators. Another administrator confirms them then."""
        access.only_administrators(call.actor.person)
        publication, revision = call.payload.pop("publication"), call.payload.pop("revision")
        return register.source_rules(
            access.reel_type(code), publication=publication, revision=revision,
            paragraphs={TypeRule(rule): text for rule, text in call.payload.items()}, actor=call.actor, at=call.at,
        )  # fmt: skip


class RuleConfirmationEndpoint(Endpoint):
    @create("reel_types_confirm_rules", types.ReelTypeOut, status=200)
    def post(self, call: Call, code: str) -> ReelType:
        """Confirm the rules of a reel type, for an administrator who neither gave nor changed them; not for scripts."""
        access.only_administrators(call.actor.person)
        return register.confirm_rules(access.reel_type(code), actor=call.actor, at=call.at)


class PublicationListEndpoint(Endpoint):
    @read("publications_list", shapes.PublicationOut, query=shapes.PublicationsQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """Every publication that counts are or were worked by, each revision apart."""
        rows = access.publications()
        if code := call.query.get("in_force_for"):
            reel_type = access.reel_types().filter(code=code).first()
            rows = rows.filter(pk__in=publications_in_force(reel_type, call.at)) if reel_type else rows.none()
        return call.page(rows, "code", "-valid_from", "-id")

    @create("publications_add", shapes.PublicationOut, shapes.PublicationIn)
    def post(self, call: Call) -> Publication:
        """A new publication or revision, for administrators; it supersedes the revision before."""
        types = [access.reel_type(code) for code in call.payload.pop("types")]
        return register.add_publication(types=types, actor=call.actor, at=call.at, **call.payload)


class PublicationDetailEndpoint(Endpoint):
    @read("publications_show", shapes.PublicationOut)
    def get(self, call: Call, publication_id: int) -> Publication:
        """One revision of a publication."""
        return access.publication(publication_id)


class PublicationEndEndpoint(Endpoint):
    @create("publications_end", shapes.PublicationOut, shapes.ReasonIn, status=200)
    def post(self, call: Call, publication_id: int) -> Publication:
        """Take a publication out of force, for administrators. Counts that name it stand."""
        access.only_administrators(call.actor.person)
        publication = access.publication(publication_id)
        return register.end_publication(publication, actor=call.actor, at=call.at, **call.payload)


class MachineListEndpoint(Endpoint):
    @read("machines_list", shapes.MachineOut, query=shapes.MachinesQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """The reeling machines at one's sites."""
        machines = access.readable_machines(call.actor.person, call.at).prefetch_related("holds__reel")
        return call.page(matching(machines, call.query, site="site__code"), "serial", "id")

    @create("machines_add", shapes.MachineOut, shapes.MachineIn, tag=tag_of_columns)
    def post(self, call: Call) -> Machine:
        """A new reeling machine, for administrators."""
        site = access.site(call.payload.pop("site"))
        return register.add_machine(site=site, actor=call.actor, at=call.at, **call.payload)


class MachineDetailEndpoint(Endpoint):
    @read("machines_show", shapes.MachineOut, tag=tag_of_columns)
    def get(self, call: Call, serial: str) -> Machine:
        """One reeling machine."""
        return access.machine_for_read(serial, call.actor.person, call.at)

    @update("machines_change", shapes.MachineOut, shapes.MachinePatch)
    def patch(self, call: Call, serial: str) -> Machine:
        """Change a machine's host or site, for administrators."""
        if "site" in call.payload:
            call.payload["site"] = access.site(call.payload["site"])
        machine = access.machine_for_read(serial, call.actor.person, call.at)
        register.change(machine, actor=call.actor, at=call.at, **call.payload)
        return machine

    def tag_under_lock(self, call: Call, **path: Any) -> str:
        access.only_administrators(call.actor.person)
        access.lock_register()
        return tag_of_columns(access.machine_for_read(path["serial"], call.actor.person, call.at))


# Histories ----------------------------------------------------------------------------------------------------------


class HistoryEndpoint(Endpoint):
    @read("reels_history", shapes.HistoryEntryOut, query=PageQuery, is_page=True)
    def get(self, call: Call, serial: str) -> Page:
        """Every act on a reel, oldest first, each bound to the one before by its digest."""
        reel = access.reel_for_read(serial, call.actor.person, call.at)
        return call.page(access.readable_history(reel), "seq", "id")


class ChangeListEndpoint(Endpoint):
    @read("changes_list", shapes.ChangesOut, query=shapes.ChangesQuery, refuses=(409,))
    def get(self, call: Call) -> dict[str, Any]:
        """What was recorded of the reels one may see, from any moment on, without gaps. See api.md, "The feed"."""
        feed.number_waiting()
        after, size = int(call.query["after"]), call.query["page_size"]
        part = access.feed_after(after, size, call.actor.person, call.at)
        return {"results": part.entries, "after": str(part.after), "more": part.more}
