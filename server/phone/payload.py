"""What the phone's worker is given with a notice: words, and what its buttons need to do their work."""

import re

from server.phone.sending import Payload
from server.phone.web_push import topic_of
from server.store.values import Delivery
from server.units import SI, Units

_FIT = re.compile(r"fit:(\d+):(\d+):\d+(?::\d+)?")
"""The key of a notice that a tree is fit: the tree, the coat that is on, when it was dipped, the round."""

TEST: Payload = {
    "title": "This phone is told",
    "body": "A test notice, asked for on this phone. Nothing is due.",
    "tag": "test",
    "url": "/shop",
}


def payload_of(delivery: Delivery, units: Units = SI) -> Payload:
    """The words, a tag under which a repeat replaces the first, where to go, and the notice's number.

    A notice that one tree is fit also names the tree, the coat that may go on, and the key under which its
    dip is said: pressed on two phones, or twice, it is one dip, and an old notice says no later coat.

    Notices are kept in SI. The body alone is put into the shop's `units`: a title holds names, no figures.
    """
    payload: dict[str, str | int | None] = {
        "title": delivery.title,
        "body": units.said(delivery.body),
        "tag": topic_of(delivery.key),
        "url": "/" if delivery.tree_id is None else f"/trees/{delivery.tree_id}",
        "notice": delivery.notice_id,
        "cause": delivery.cause,
    }
    fit = _FIT.fullmatch(delivery.key)
    if fit:
        payload |= {"tree": int(fit[1]), "coat": int(fit[2]) + 1, "key": f"notice-{topic_of(delivery.key)}"}
    elif delivery.tree_id is not None:
        payload["tree"] = delivery.tree_id
    return payload
