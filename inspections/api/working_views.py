"""One reading worked out; nothing is stored."""

from typing import Any

from rest_framework.exceptions import ErrorDetail, ValidationError

from inspections.api import working_serializers as shapes
from inspections.domain import counting
from inspections.domain.keying import reading_from
from inspections.errors import ImpossibleParameters
from inspections.queries.parameters import parameters_of_type, rule_parameters
from inspections.services.evaluation import as_json
from reels import access as reel_access
from reels.api.endpoints import Call, Endpoint, action
from reels.domain.words import Scope


class WorkingEndpoint(Endpoint):
    @action("workings_show", shapes.WorkingOut, shapes.WorkingIn, scope=Scope.READ)
    def post(self, call: Call) -> dict[str, Any]:
        """Work one reading out, step by step. Nothing is stored, so no Idempotency-Key is needed."""
        parameters = self._parameters(call.payload["reel_type"])
        return as_json(counting.work_out(parameters, reading_from(call.payload["reading"])))

    def _parameters(self, reel_type: Any) -> Any:
        if isinstance(reel_type, str):
            return parameters_of_type(reel_access.reel_type(reel_type))
        try:
            return rule_parameters(reel_type)
        except ImpossibleParameters as refused:
            error = ErrorDetail(str(refused), refused.code)
            raise ValidationError({"reel_type": {refused.facts["field"]: [error]}}) from refused
