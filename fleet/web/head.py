"""What every page's head shows."""

from typing import Any

from django.http import HttpRequest

from fleet.models import Contractor


def head(request: HttpRequest) -> dict[str, Any]:
    contractor = Contractor.objects.filter(id=1).first()
    return {"contractor": contractor}
