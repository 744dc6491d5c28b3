"""People, their tokens and alarms about their logins, for administrators."""

from typing import Any

from reels import access
from reels.api import serializers as shapes
from reels.api.endpoints import Call, Endpoint, create, read, tag_of_columns, update
from reels.api.forms import PageQuery
from reels.api.paging import Page
from reels.models import Person
from reels.services import people, register, second_factor, tokens


class PersonListEndpoint(Endpoint):
    @read("people_list", shapes.AccountOut, query=PageQuery, is_page=True, scope=None)
    def get(self, call: Call) -> Page:
        """Everybody with a login, for administrators."""
        return call.page(access.people(call.actor.person), "username", "id")

    @create("people_add", shapes.AccountOut, shapes.PersonIn)
    def post(self, call: Call) -> Person:
        """A new login for a human being. A user name or staff number is never used again."""
        return people.add_person(actor=call.actor, at=call.at, **call.payload)


class PersonDetailEndpoint(Endpoint):
    @read("people_show", shapes.AccountOut, tag=tag_of_columns, scope=None)
    def get(self, call: Call, username: str) -> Person:
        """One person, for administrators."""
        return access.person_for_administrator(username, call.actor.person)

    @update("people_change", shapes.AccountOut, shapes.PersonPatch)
    def patch(self, call: Call, username: str) -> Person:
        """Change a name, make somebody an administrator, or close an account. Accounts are never removed."""
        person = access.person_for_administrator(username, call.actor.person)
        people.change_person(person, actor=call.actor, at=call.at, **call.payload)
        return person

    def tag_under_lock(self, call: Call, **path: Any) -> str:
        access.lock_register()
        return tag_of_columns(access.person_for_administrator(path["username"], call.actor.person))


class EnrolmentEndpoint(Endpoint):
    @create("people_enrol", shapes.AccountOut, shapes.EnrolmentIn, status=200)
    def post(self, call: Call, username: str) -> Person:
        """Say that one has checked whose login this is. Not for oneself, nor by who gave the login its password."""
        person = access.person_for_administrator(username, call.actor.person)
        people.enrol(person, actor=call.actor, at=call.at, **call.payload)
        return person


class GivenPasswordEndpoint(Endpoint):
    @create("people_give_password", shapes.AccountOut, shapes.GivenPasswordIn, status=200)
    def post(self, call: Call, username: str) -> Person:
        """Give a new password to somebody who lost theirs. Sessions end; another administrator enrols them."""
        person = access.person_for_administrator(username, call.actor.person)
        people.give_password(person, actor=call.actor, at=call.at, **call.payload)
        return person


class SecondFactorEndEndpoint(Endpoint):
    @create("people_end_second_factor", shapes.AccountOut, shapes.ReasonIn, status=200)
    def post(self, call: Call, username: str) -> Person:
        """Take somebody's lost second factor out of force. Another administrator then enrols them."""
        person = access.person_for_administrator(username, call.actor.person)
        second_factor.end_of_another(person, actor=call.actor, at=call.at, **call.payload)
        return person


class UnlockingEndpoint(Endpoint):
    @create("people_unlock", shapes.AccountOut, shapes.ReasonIn, status=200)
    def post(self, call: Call, username: str) -> Person:
        """Let somebody's login be tried again wherever it was locked after wrong passwords. Not for one's own."""
        person = access.person_for_administrator(username, call.actor.person)
        people.unlock(person, actor=call.actor, at=call.at, **call.payload)
        return access.person_for_administrator(username, call.actor.person)


class AlarmListEndpoint(Endpoint):
    @read("alarms_list", shapes.AlarmOut, query=PageQuery, is_page=True, scope=None)
    def get(self, call: Call) -> Page:
        """Logins that were locked after too many wrong passwords, the newest first; for administrators."""
        return call.page(access.alarms(call.actor.person), "-at", "-id")


class PostingListEndpoint(Endpoint):
    @create("postings_add", shapes.PostingOut, shapes.PostingIn)
    def post(self, call: Call, username: str) -> Any:
        """Let a person read at a site, or at every site (null)."""
        person = access.person_for_administrator(username, call.actor.person)
        site = access.site(call.payload["site"]) if call.payload["site"] else None
        until = call.payload["valid_until"]
        return register.post_person(person=person, site=site, valid_from=call.payload["valid_from"], valid_until=until,
                                    actor=call.actor, at=call.at)  # fmt: skip


class TokenListEndpoint(Endpoint):
    @read("tokens_list", shapes.TokenOut, query=PageQuery, is_page=True, scope=None)
    def get(self, call: Call) -> Page:
        """Every token that was ever issued, for administrators; without its secret."""
        access.only_administrators(call.actor.person)
        return call.page(access.tokens_to_look_at(call.actor.person), "-id")

    @create("tokens_issue", shapes.NewTokenOut, shapes.TokenIn, hides=("secret",))
    def post(self, call: Call) -> Any:
        """Issue a token for a script that acts with a person's rights, as far as its scopes go."""
        person = access.person_for_administrator(call.payload.pop("person"), call.actor.person)
        token, secret = tokens.issue(person=person, actor=call.actor, at=call.at, **call.payload)
        token.secret = secret  # type: ignore[attr-defined]  # for the answer alone; no column holds it
        return token


class TokenRevocationEndpoint(Endpoint):
    @create("tokens_revoke", shapes.TokenOut, shapes.ReasonIn, status=200)
    def post(self, call: Call, token_id: int) -> Any:
        """End a token before its time. It stays on record."""
        return tokens.revoke(token_id=token_id, actor=call.actor, at=call.at, **call.payload)
