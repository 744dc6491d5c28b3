"""People, sites, reel types, machines, tokens and histories."""

from typing import Any

from django.contrib.auth import authenticate, login, logout
from django.middleware.csrf import get_token
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.views import APIView

from reels import access, queries
from reels.api import serializers as shapes
from reels.api.authentication import MayUse
from reels.api.doors import Call, Door, alters, answers, shows, stores, tag_of_columns
from reels.api.forms import PageQuery
from reels.api.paging import Page
from reels.models import Machine, Person, ReelType, Site
from reels.services import feed, register, tokens

# Sessions -----------------------------------------------------------------------------------------------------------


class LogsIn(BasePermission):
    """Anybody may log in; all else is for who has."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        return request.method == "POST" or MayUse().has_permission(request, view)


class Session(Door):
    permission_classes = (LogsIn,)

    @answers("session_begin", shapes.SessionOut, shapes.SessionIn)
    def post(self, call: Call) -> dict[str, Any]:
        """Log in. The cookie that is set, and X-CSRFToken with the token given here, go with every later request."""
        found = authenticate(call.request, username=call.given["username"], password=call.given["password"])
        if found is None:
            raise AuthenticationFailed("The user name or the password is not right.")
        login(call.request._request, found)
        return {"person": found, "csrf_token": get_token(call.request._request)}

    @shows("session_show", shapes.SessionOut, scope=None)
    def get(self, call: Call) -> dict[str, Any]:
        """Who is logged in."""
        return {"person": call.actor.person, "csrf_token": get_token(call.request._request)}

    @answers("session_end", None, status=204)
    def delete(self, call: Call) -> None:
        """Log out."""
        logout(call.request._request)


# People and tokens, for administrators ------------------------------------------------------------------------------


class People(Door):
    @shows("people_list", shapes.AccountOut, query=PageQuery, is_page=True, scope=None)
    def get(self, call: Call) -> Page:
        """Everybody with a login, for administrators."""
        return call.page(access.people(call.actor.person), "username", "id")

    @stores("people_add", shapes.AccountOut, shapes.PersonIn)
    def post(self, call: Call) -> Person:
        """A new login for a human being. A user name or staff number is never used again."""
        return register.add_person(actor=call.actor, at=call.at, **call.given)


class PersonDetail(Door):
    @shows("people_show", shapes.AccountOut, tag=tag_of_columns, scope=None)
    def get(self, call: Call, username: str) -> Person:
        """One person, for administrators."""
        return access.person_for_administrator(username, call.actor.person)

    @alters("people_change", shapes.AccountOut, shapes.PersonPatch)
    def patch(self, call: Call, username: str) -> Person:
        """Change a name, make somebody an administrator, or close an account. Accounts are never removed."""
        person = access.person_for_administrator(username, call.actor.person)
        register.change(person, actor=call.actor, at=call.at, **call.given)
        return person

    def tag_under_lock(self, call: Call, **path: Any) -> str:
        access.lock_register()
        return tag_of_columns(access.person_for_administrator(path["username"], call.actor.person))


class Postings(Door):
    @stores("postings_add", shapes.PostingOut, shapes.PostingIn)
    def post(self, call: Call, username: str) -> Any:
        """Let a person read at a site, or at every site (null)."""
        person = access.person_for_administrator(username, call.actor.person)
        site = access.site(call.given["site"]) if call.given["site"] else None
        until = call.given["valid_until"]
        return register.post_person(person=person, site=site, valid_from=call.given["valid_from"], valid_until=until,
                                    actor=call.actor, at=call.at)  # fmt: skip


class Tokens(Door):
    @shows("tokens_list", shapes.TokenOut, query=PageQuery, is_page=True, scope=None)
    def get(self, call: Call) -> Page:
        """Every token that was ever issued, for administrators; without its secret."""
        return call.page(access.tokens(call.actor.person), "-id")

    @stores("tokens_issue", shapes.NewTokenOut, shapes.TokenIn, hides=("secret",))
    def post(self, call: Call) -> Any:
        """Issue a token for a script that acts with a person's rights, as far as its scopes go."""
        person = access.person_for_administrator(call.given.pop("person"), call.actor.person)
        token, secret = tokens.issue(person=person, actor=call.actor, at=call.at, **call.given)
        token.secret = secret  # type: ignore[attr-defined]  # for the answer alone; no column holds it
        return token


class TokenRevocation(Door):
    @stores("tokens_revoke", shapes.TokenOut, shapes.ReasonIn, status=200)
    def post(self, call: Call, token_id: int) -> Any:
        """End a token before its time. It stays on record."""
        return tokens.revoke(token_id=token_id, reason=call.given["reason"], actor=call.actor, at=call.at)


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
