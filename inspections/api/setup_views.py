"""Setup values, from their issue to their withdrawal; and who is authorised to do what."""

from typing import Any

from inspections import access
from inspections.api import details
from inspections.api import setup_serializers as shapes
from inspections.api.reel_serializers import MachineNamedIn
from inspections.domain.words import Act
from inspections.errors import ReadBackDiffers
from inspections.models import Authorisation, ReadBack, SetupValues
from inspections.queries.setup_values import setup_values_matching
from inspections.services import authorisations, machine_checks, setup
from reels import access as reel_access
from reels.api.endpoints import Call, Endpoint, create, read, tag_of
from reels.api.paging import Page
from reels.api.serializers import ReasonIn
from reels.queries import matching


class SetupValuesEndpoint(Endpoint):
    """A path under one pair of setup values."""

    def tag_under_lock(self, call: Call, **path: Any) -> str:
        return tag_of(access.setup_values_for_update(path["setup_id"], call.actor.person, call.at))

    def shown(self, call: Call, setup_id: int) -> SetupValues:
        """The values as they stand now."""
        return details.setup_values_for(setup_id, call.actor.person, call.at)

    def unless_it_differs(self, read_back: ReadBack, call: Call) -> SetupValues | ReadBackDiffers:
        """The values, or the refusal of a read-back that differs; it is kept all the same."""
        values = self.shown(call, read_back.setup_values_id)
        if read_back.matches:
            return values
        return ReadBackDiffers(layers=read_back.layers, wraps=read_back.wraps)


class SetupValuesIssueEndpoint(Endpoint):
    @create("setup_values_issue", shapes.SetupValuesDetailOut, MachineNamedIn, needs_match=True, tag=tag_of)
    def post(self, call: Call, serial: str) -> SetupValues:
        """Issue the setup values of the reel's latest signed inspection for one machine."""
        values = setup.issue(serial=serial, machine_serial=call.payload["machine"], actor=call.actor, at=call.at)
        return details.setup_values_for(values.pk, call.actor.person, call.at)

    def tag_under_lock(self, call: Call, **path: Any) -> str:
        return tag_of(reel_access.reel_for_update(path["serial"], call.actor.person, call.at))


class SetupValuesListEndpoint(Endpoint):
    @read("setup_values_list", shapes.SetupValuesOut, query=shapes.SetupValuesQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """The setup values of the reels at one's sites, the latest first."""
        values = access.readable_setup_values(call.actor.person, call.at)
        return call.page(setup_values_matching(values, call.query), "-issued_at", "-id")


class SetupValuesDetailEndpoint(SetupValuesEndpoint):
    @read("setup_values_show", shapes.SetupValuesDetailOut, tag=tag_of)
    def get(self, call: Call, setup_id: int) -> SetupValues:
        """One pair of setup values, with every read-back and check."""
        return self.shown(call, setup_id)


class GaugeReturnEndpoint(SetupValuesEndpoint):
    @create("setup_values_return_gauge", shapes.SetupValuesDetailOut, status=200, tag=tag_of)
    def post(self, call: Call, setup_id: int) -> SetupValues:
        """Confirm that the wrap gauge is back in its place in the machine, and nothing stays behind."""
        setup.return_gauge(setup_id=setup_id, actor=call.actor, at=call.at)
        return self.shown(call, setup_id)


class ReadBackEndpoint(SetupValuesEndpoint):
    @create("read_backs_key", shapes.SetupValuesDetailOut, shapes.ReadBackIn, needs_match=True, tag=tag_of)
    def post(self, call: Call, setup_id: int) -> SetupValues | ReadBackDiffers:
        """The setter keys what the machine shows. One that differs is refused, and kept."""
        read_back = setup.key_read_back(setup_id=setup_id, actor=call.actor, at=call.at, **call.payload)
        return self.unless_it_differs(read_back, call)


class ConfirmationEndpoint(SetupValuesEndpoint):
    @create("setup_values_confirm", shapes.SetupValuesDetailOut, shapes.ReadBackIn, needs_match=True, tag=tag_of)
    def post(self, call: Call, setup_id: int) -> SetupValues | ReadBackDiffers:
        """A second person keys what the machine shows; if it matches, the values are confirmed."""
        read_back = setup.confirm(setup_id=setup_id, actor=call.actor, at=call.at, **call.payload)
        return self.unless_it_differs(read_back, call)


class MachineCheckEndpoint(SetupValuesEndpoint):
    @create("setup_values_check", shapes.SetupValuesDetailOut, shapes.MachineCheckIn, tag=tag_of)
    def post(self, call: Call, setup_id: int) -> SetupValues:
        """The functional check after installation, or what the machine showed after first use: numbers.

        One that failed, or shows something too far from what is expected, holds reel and machine and withdraws the
        values. Where it was not the numbers that failed, the remark has to say what the machine did.
        """
        shown = machine_checks.shown_in(call.payload)
        machine_checks.record_check(setup_id=setup_id, shown=shown, actor=call.actor, at=call.at, **call.payload)
        return self.shown(call, setup_id)


class WithdrawalEndpoint(SetupValuesEndpoint):
    @create("setup_values_withdraw", shapes.SetupValuesDetailOut, ReasonIn, status=200, needs_match=True, tag=tag_of)
    def post(self, call: Call, setup_id: int) -> SetupValues:
        """Withdraw setup values by hand."""
        setup.withdraw(setup_id=setup_id, actor=call.actor, at=call.at, **call.payload)
        return self.shown(call, setup_id)


# Authorisations -----------------------------------------------------------------------------------------------------


class AuthorisationListEndpoint(Endpoint):
    @read("authorisations_list", shapes.AuthorisationOut, query=shapes.AuthorisationsQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """One's own authorisations, and for administrators everybody's."""
        rows = access.readable_authorisations(call.actor.person)
        return call.page(matching(rows, call.query, person="person__username", act="act"), "-granted_at", "-id")

    @create("authorisations_grant", shapes.AuthorisationOut, shapes.AuthorisationIn)
    def post(self, call: Call) -> Authorisation:
        """Authorise somebody else to do an act, for a reel type and a site or all of them."""
        payload = call.payload
        return authorisations.grant(
            person=reel_access.person_named(payload["person"]), act=Act(payload["act"]),
            reel_type=reel_access.reel_type(payload["reel_type"]) if payload["reel_type"] else None,
            site=reel_access.site(payload["site"]) if payload["site"] else None, valid_from=payload["valid_from"],
            valid_until=payload["valid_until"], actor=call.actor, at=call.at,
        )  # fmt: skip


class AuthorisationEndEndpoint(Endpoint):
    @create("authorisations_end", shapes.AuthorisationOut, ReasonIn, status=200)
    def post(self, call: Call, authorisation_id: int) -> Authorisation:
        """End an authorisation before its time. What was signed under it stands."""
        reel_access.only_administrators(call.actor.person)
        authorisation = reel_access.one(
            access.readable_authorisations(call.actor.person), "authorisation", pk=authorisation_id
        )
        return authorisations.end(authorisation=authorisation, actor=call.actor, at=call.at, **call.payload)
