"""People, sites, reel types, machines, tokens and histories."""

from typing import Any

from reels import access, queries
from reels.api import serializers as shapes
from reels.api.doors import Call, Door, alters, shows, stores, tag_of_columns
from reels.api.forms import PageQuery
from reels.api.paging import Page
from reels.models import Machine, ReelType, Site
from reels.services import feed, register

# Reference data -----------------------------------------------------------------------------------------------------


class Sites(Door):
    @shows("sites_list", shapes.SiteOut, query=PageQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """The sites at which one is posted."""
        return call.page(access.readable_sites(call.actor.person, call.at), "code", "id")

    @stores("sites_add", shapes.SiteOut, shapes.SiteIn, tag=tag_of_columns)
    def post(self, call: Call) -> Site:
        """A new site, for administrators."""
        return register.add_site(actor=call.actor, at=call.at, **call.given)


class SiteDetail(Door):
    @shows("sites_show", shapes.SiteOut, tag=tag_of_columns)
    def get(self, call: Call, code: str) -> Site:
        """One site."""
        return access.one(access.readable_sites(call.actor.person, call.at), "site", code=code)

    @alters("sites_change", shapes.SiteOut, shapes.SitePatch)
    def patch(self, call: Call, code: str) -> Site:
        """Change a site's name or time zone, for administrators."""
        site = access.site(code)
        register.change(site, actor=call.actor, at=call.at, **call.given)
        return site

    def tag_under_lock(self, call: Call, **path: Any) -> str:
        access.only_administrators(call.actor.person)
        access.lock_register()
        return tag_of_columns(access.site(path["code"]))


class ReelTypes(Door):
    @shows("reel_types_list", shapes.ReelTypeOut, query=PageQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """Every reel type."""
        return call.page(access.reel_types(), "code", "id")

    @stores("reel_types_add", shapes.ReelTypeOut, shapes.ReelTypeIn, tag=tag_of_columns)
    def post(self, call: Call) -> ReelType:
        """A new reel type, for administrators."""
        return register.add_reel_type(actor=call.actor, at=call.at, **call.given)


class ReelTypeDetail(Door):
    @shows("reel_types_show", shapes.ReelTypeOut, tag=tag_of_columns)
    def get(self, call: Call, code: str) -> ReelType:
        """One reel type."""
        return access.reel_type(code)

    @alters("reel_types_change", shapes.ReelTypeOut, shapes.ReelTypePatch)
    def patch(self, call: Call, code: str) -> ReelType:
        """Put a reel type right, for administrators. A count under way keeps the parameters it was opened with."""
        reel_type = access.reel_type(code)
        register.change(reel_type, actor=call.actor, at=call.at, **call.given)
        return reel_type

    def tag_under_lock(self, call: Call, **path: Any) -> str:
        access.only_administrators(call.actor.person)
        access.lock_register()
        return tag_of_columns(access.reel_type(path["code"]))


class Machines(Door):
    @shows("machines_list", shapes.MachineOut, query=shapes.MachinesQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """The reeling machines at one's sites."""
        machines = access.readable_machines(call.actor.person, call.at)
        return call.page(queries.at_site(machines, call.query.get("site")), "serial", "id")

    @stores("machines_add", shapes.MachineOut, shapes.MachineIn, tag=tag_of_columns)
    def post(self, call: Call) -> Machine:
        """A new reeling machine with its wrap gauge, for administrators."""
        site = access.site(call.given.pop("site"))
        return register.add_machine(site=site, actor=call.actor, at=call.at, **call.given)


class MachineDetail(Door):
    @shows("machines_show", shapes.MachineOut, tag=tag_of_columns)
    def get(self, call: Call, serial: str) -> Machine:
        """One reeling machine."""
        return access.machine_for_read(serial, call.actor.person, call.at)

    @alters("machines_change", shapes.MachineOut, shapes.MachinePatch)
    def patch(self, call: Call, serial: str) -> Machine:
        """Change a machine's host, site or wrap gauge, for administrators."""
        if "site" in call.given:
            call.given["site"] = access.site(call.given["site"])
        machine = access.machine_for_read(serial, call.actor.person, call.at)
        register.change(machine, actor=call.actor, at=call.at, **call.given)
        return machine

    def tag_under_lock(self, call: Call, **path: Any) -> str:
        access.only_administrators(call.actor.person)
        access.lock_register()
        return tag_of_columns(access.machine_for_read(path["serial"], call.actor.person, call.at))


# Histories ----------------------------------------------------------------------------------------------------------


class History(Door):
    @shows("reels_history", shapes.HistoryEntryOut, query=PageQuery, is_page=True)
    def get(self, call: Call, serial: str) -> Page:
        """Every act on a reel, oldest first, each bound to the one before by its digest."""
        reel = access.reel_for_read(serial, call.actor.person, call.at)
        return call.page(access.readable_history(reel), "seq", "id")


class Changes(Door):
    @shows("changes_list", shapes.ChangesOut, query=shapes.ChangesQuery)
    def get(self, call: Call) -> dict[str, Any]:
        """What was recorded of the reels one may see, from any moment on, without gaps. See api.md, "The feed"."""
        feed.number_waiting()
        after, size = int(call.query["after"]), call.query["page_size"]
        part = access.feed_after(after, size, call.actor.person, call.at)
        return {"results": part.entries, "after": str(part.after), "more": part.more}
