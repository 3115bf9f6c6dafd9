"""``GET /metrics``: counts and times, for Prometheus."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from service.metrics import METRICS_MEDIA_TYPE, Metrics
from service.negotiation import require_acceptable

__all__ = ["metrics_router"]

_PLAIN = METRICS_MEDIA_TYPE.partition(";")[0]


def metrics_router(metrics: Metrics) -> APIRouter:
    """The route.

    Not in the OpenAPI document: the format is a contract of its own, for those who run the service and not for those
    who ask it, and no two answers are the same.
    """
    router = APIRouter(include_in_schema=False)

    @router.get("/metrics")
    async def show_metrics(request: Request) -> Response:
        require_acceptable(request, (_PLAIN,))
        headers = {"Content-Type": METRICS_MEDIA_TYPE, "Cache-Control": "no-store", "Vary": "Accept"}
        return Response(metrics.text(), headers=headers)

    return router
