"""One request to a push service, and what its answer means. Blocks; loaded when the first push goes out."""

import time
from datetime import UTC
from email.utils import parsedate_to_datetime

import requests
from cryptography.hazmat.primitives.asymmetric import ec
from py_vapid import Vapid, VapidException
from pywebpush import WebPushException, webpush

from server.phone.sending import Outcome
from server.store.values import Subscription

GONE = frozenset({404, 410})
"""RFC 8030 section 7.3: the subscription has expired or is no longer there."""

WORTH_A_RETRY = frozenset({401, 403, 408, 425, 429})
"""Beside 5xx. 401 and 403 too: a signature made while the machine's clock is not set yet is refused."""

NOT_STRICT = {"no-strict": True}
"""Else the signing library refuses contacts that RFC 8292 allows, such as an https address with a path."""

LONGEST_RETRY_AFTER_S = 24 * 3600.0


def post(
    subscription: Subscription,
    body: bytes,
    private_key: ec.EllipticCurvePrivateKey,
    contact: str,
    ttl_s: int,
    headers: dict[str, str],
    timeout_s: float,
) -> Outcome:
    """Encrypt the body for the phone, sign, post, read the answer. `timeout_s` holds for each wait [s]."""
    with requests.Session() as session:
        # Neither a .netrc, which would take the place of the signature, nor a redirect to who knows where.
        session.trust_env = False
        session.max_redirects = 0
        try:
            webpush(
                subscription_info={
                    "endpoint": subscription.endpoint,
                    "keys": {"p256dh": subscription.p256dh, "auth": subscription.auth},
                },
                data=body,
                vapid_private_key=Vapid(private_key, NOT_STRICT),
                vapid_claims={"sub": contact},  # a fresh one each time: the library writes into it
                ttl=ttl_s,
                headers=dict(headers),
                timeout=timeout_s,
                requests_session=session,
            )
        except WebPushException as error:
            return _meaning(error)
        except requests.TooManyRedirects:
            return Outcome("refused", "the push service sent us elsewhere, which is not followed")
        except requests.Timeout:
            return Outcome("later", f"the push service did not answer within {timeout_s:g} s")
        except requests.ConnectionError as error:
            return Outcome("later", f"the push service could not be reached: {_first_line(error)}")
        except (requests.RequestException, VapidException, ValueError) as error:
            return Outcome("refused", f"the push could not be made: {_first_line(error)}")
    return Outcome("sent")


def _meaning(error: WebPushException) -> Outcome:
    status = error.status_code
    if status is None:
        return Outcome("refused", f"the push could not be made: {_first_line(error)}")
    if 200 <= status < 300:
        return Outcome("sent")
    said = _first_line(getattr(error.response, "text", "") or "")
    detail = f"the push service answered {status}" + (f": {said}" if said else "")
    if status in GONE:
        return Outcome("gone", detail)
    if status in WORTH_A_RETRY or status >= 500:
        return Outcome("later", detail, retry_after_s(error.retry_after, time.time()))
    return Outcome("refused", detail)


def retry_after_s(text: str | None, wall_s: float) -> float | None:
    """Read a Retry-After (RFC 9110 section 10.2.3), seconds or a date, as seconds from now, up to a day [s].

    >>> date = "Thu, 01 Jan 1970 00:01:00 GMT"
    >>> retry_after_s("120", 0.0), retry_after_s(date, 10.0), retry_after_s(date, 100.0)
    (120.0, 50.0, 0.0)
    >>> retry_after_s("9" * 400, 0.0), retry_after_s("soon", 0.0), retry_after_s(None, 0.0)
    (86400.0, None, None)
    """
    text = (text or "").strip()
    if text.isascii() and text.isdigit():
        wait_s = float(text[:12])
    else:
        try:
            moment = parsedate_to_datetime(text)
        except ValueError:
            return None
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=UTC)
        wait_s = moment.timestamp() - wall_s
    return min(max(0.0, wait_s), LONGEST_RETRY_AFTER_S)


def _first_line(said: object, limit: int = 200) -> str:
    line = str(said).strip().partition("\n")[0]
    return line if len(line) <= limit else line[: limit - 1] + "…"
