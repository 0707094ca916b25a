"""Whether the service is there, and whether it is able to judge."""

from fastapi import APIRouter

from server.api.problems import ProblemError, documented
from server.api.schemas import Live, Ready
from server.parts import Parts


def service_router(parts: Parts) -> APIRouter:
    """Health."""
    router = APIRouter(tags=["service"])

    @router.get("/healthz", responses=documented())
    def live() -> Live:
        """The service runs."""
        return Live()

    @router.get("/readyz", responses=documented(503))
    def ready() -> Ready:
        """The service is able to judge; 503 with every reason where it is not."""
        readiness = parts.ready()
        if not readiness.ready:
            reasons = list(readiness.reasons)
            detail = "; ".join(reasons) or "the service is not able to judge yet"
            raise ProblemError(503, detail, "not-ready", reasons=reasons)
        return Ready()

    return router
