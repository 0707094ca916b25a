"""Other ways than push to be told, such as mail, a chat or a webhook: by Apprise, where it is installed."""

import asyncio
from importlib.util import find_spec
from typing import Any

from server.phone.sending import Outcome, Payload, Urgency
from server.store.values import Subscription

MISSING = "Apprise is not installed here: install it by “pip install apprise”, then start the service anew"

LONGEST_ADDRESS = 2000


class ChannelError(ValueError):
    """An address that nothing can be sent to; the message says why and repeats no secret."""


def installed() -> bool:
    """Whether other channels can be told at all."""
    return find_spec("apprise") is not None


def check_address(address: str) -> None:
    """Raise ChannelError, with the reason, unless Apprise knows what to do with an address."""
    if not installed():
        raise ChannelError(MISSING)
    if not address.strip():
        raise ChannelError("no address was given")
    if len(address) > LONGEST_ADDRESS:
        raise ChannelError(f"the address has {len(address)} characters; it may have {LONGEST_ADDRESS}")
    if not address.isprintable():
        raise ChannelError("the address has characters that cannot be printed")
    if _service(address) is None:
        scheme = address.partition(":")[0][:20]
        raise ChannelError(f"an address that begins with {scheme!r} is none that Apprise can send to")


def masked(address: str) -> str:
    """An address as it may be shown: what kind it is, its secrets as stars."""
    if not installed():
        return f"{address.partition(':')[0]}://…"
    service = _service(address)
    # What follows the question mark is how Apprise sends it, and nothing a person set.
    return "…" if service is None else str(service.url(privacy=True)).partition("?")[0]


class OtherChannels:
    """Sends by Apprise, off the event loop; Apprise is loaded when the first message goes out."""

    async def send(
        self, subscription: Subscription, payload: Payload, ttl_s: int, urgency: Urgency, topic: str
    ) -> Outcome:
        """Hand the title and the body over; the rest of the payload is for phones.

        Apprise does not tell what is worth another try from what is not: so a failure is "later", until the
        outbox gives it up.
        """
        title, body = str(payload.get("title") or ""), str(payload.get("body") or "")
        return await asyncio.to_thread(tell, subscription.endpoint, title, body)


def tell(address: str, title: str, body: str) -> Outcome:
    """Send one message to one address, in this thread, and say what came of it."""
    if not installed():
        return Outcome("later", MISSING)
    import apprise  # noqa: PLC0415 -- loaded only where a channel is set up

    messenger = apprise.Apprise()
    if not messenger.add(address):
        return Outcome("refused", "the address is none that Apprise can send to")
    try:
        result = messenger.notify(title=title, body=body)
    except Exception as fault:  # whatever one plugin of a hundred raises, the outbox goes on
        return Outcome("later", f"the channel failed: {type(fault).__name__}")
    return Outcome("sent") if result else Outcome("later", _reason(result, address))


def _reason(result: Any, address: str) -> str:
    """What Apprise wrote down of a sending that failed, without the secrets of the address."""
    logs = getattr(result, "logs", None)  # older versions only say that it failed
    lines = [str(entry.message).partition("\n")[0] for entry in logs()] if logs else []
    said = "; ".join(dict.fromkeys(lines))
    for secret in _secrets(address):
        said = said.replace(secret, "****")
    return said[:200] or "the channel did not take it and gave no reason"


def _service(address: str) -> Any:
    import apprise  # noqa: PLC0415 -- loaded only where a channel is set up

    return apprise.Apprise.instantiate(address, suppress_exceptions=True)


def _secrets(address: str) -> list[str]:
    service = _service(address)
    found = [getattr(service, "password", None), getattr(service, "user", None)]
    return [secret for secret in found if isinstance(secret, str) and len(secret) > 3]
