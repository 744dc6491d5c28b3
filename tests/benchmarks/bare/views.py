"""The least that a view can do: to store rows, check the form, insert, answer; to show rows, read them and render."""

from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from reels.models import Reel
from tests.benchmarks.bare.models import BareRow


class RowIn(serializers.Serializer[BareRow]):
    point = serializers.CharField()
    value = serializers.JSONField()
    digest = serializers.CharField()


class Bare(APIView):
    def post(self, request: Request, serial: str) -> Response:
        form = RowIn(data=request.data, many=True)
        form.is_valid(raise_exception=True)
        with transaction.atomic():
            reel = Reel.objects.get(serial=serial)
            rows = [
                BareRow._default_manager.create(person=request.user, reel=reel, **row) for row in form.validated_data
            ]
        return Response({"rows": [row.pk for row in rows]}, status=201)


def rows(request: HttpRequest) -> HttpResponse:
    """A page of rows, each with so many bytes of filler that it is as large as what is measured beside it."""
    found = Reel.objects.select_related("type", "site").order_by("serial")[: int(request.GET["rows"])]
    about = {"title": "Rows", "rows": found, "filler": "x" * int(request.GET["filler"])}
    return render(request, "bare/board.html", about)
