"""What became of what was to be told, in words."""

from server.store.values import KeptNotice, Subscription, Undelivered


def delivery_words(notice: KeptNotice) -> str:
    """What became of a notice.

    >>> delivery_words(KeptNotice(1, "k", "fit", 1, "t", "b", 0, sent=1, waiting=2, failed=0))
    'sent to 1, waiting for 2'
    >>> delivery_words(KeptNotice(1, "k", "fit", 1, "t", "b", 0, 0, 0, failed=1, last_error="no answer"))
    'not sent to 1 (no answer)'
    >>> delivery_words(KeptNotice(1, "k", "fit", 1, "t", "b", 0, sent=0, waiting=0, failed=0))
    'told here only: no phone had asked'
    """
    if notice.held:
        return "held: it goes out with others, or after the quiet hours"
    parts = []
    if notice.sent:
        parts.append(f"sent to {notice.sent}")
    if notice.waiting:
        parts.append(f"waiting for {notice.waiting}")
    if notice.maybe_sent:
        parts.append(f"may have been sent to {notice.maybe_sent}")
    if notice.failed or notice.dropped:
        reason = f" ({notice.last_error})" if notice.last_error else ""
        parts.append(f"not sent to {notice.failed + notice.dropped}{reason}")
    return ", ".join(parts) or "told here only: no phone had asked"


def undelivered_words(one: Undelivered, when: str) -> str:
    """How a notice stands that did not reach somebody; `when` is its time, "" for none.

    >>> phone = Subscription(3, "https://push.example/a", "", "")
    >>> undelivered_words(Undelivered("t", phone, "waiting", 2, "no answer", 0), "14:10")
    'phone 3: no answer. Tried 2 times, again at 14:10.'
    >>> undelivered_words(Undelivered("t", phone, "failed", 1, "", 0), "14:10")
    'phone 3: it gave no reason. Tried once, given up at 14:10.'
    """
    reason = (one.reason or "it gave no reason").rstrip(".")
    tried = {0: "Not tried", 1: "Tried once"}.get(one.attempts, f"Tried {one.attempts} times")
    match one.state:
        case "waiting":
            end = f"again at {when}"
        case "sending":
            return (
                f"{who(one.subscription)}: the service stopped while it was being sent; it may have arrived."
            )
        case _:
            end = f"given up at {when}" if when else "given up"
    return f"{who(one.subscription)}: {reason}. {tried}, {end}."


def who(subscription: Subscription) -> str:
    """A phone or a channel, as a person tells it from the others."""
    return f"phone {subscription.id}" if subscription.kind == "push" else subscription.name
