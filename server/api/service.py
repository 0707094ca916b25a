"""Whether the service is there, whether it is able to judge, and which phones are to be told."""

from ipaddress import ip_address
from urllib.parse import urlsplit

from fastapi import APIRouter

from server.api.problems import ProblemError, documented
from server.api.schemas import Live, PushSubscription, Ready, SubscriptionAnswer
from server.parts import Parts
from server.store import subscriptions as subscription_store


def service_router(parts: Parts) -> APIRouter:
    """Health and push."""
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

    @router.post("/api/push/subscriptions", status_code=201, responses=documented())
    def subscribe(subscription: PushSubscription) -> SubscriptionAnswer:
        """Tell this phone. The same endpoint again renews its keys."""
        if not acceptable(subscription.endpoint):
            detail = f"endpoint {subscription.endpoint!r} is not an https address (http is taken on loopback)"
            raise ProblemError(422, detail, "endpoint")
        keys = subscription.keys
        kept = subscription_store.subscribe(
            parts.engine, subscription.endpoint, keys.p256dh, keys.auth, parts.wall_clock()
        )
        return SubscriptionAnswer(id=kept.id)

    return router


def acceptable(endpoint: str) -> bool:
    """Whether notices may be sent to an address: https, or http on this very machine.

    >>> acceptable("https://push.example/x"), acceptable("http://127.0.0.1:9/x"), acceptable("http://10.0.0.1/x")
    (True, True, False)
    """
    try:
        parts = urlsplit(endpoint)
        host = parts.hostname
    except ValueError:
        return False
    if not host:
        return False
    if parts.scheme == "https":
        return True
    try:
        return host == "localhost" or ip_address(host).is_loopback
    except ValueError:
        return False
