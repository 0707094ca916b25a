"""The desk at which other channels are set up, tried and taken off."""

from server.parts import Parts
from server.phone.other_channels import ChannelError, check_address, tell
from server.phone.sending import Outcome
from server.plain_names import BadNameError, checked_name
from server.store import subscriptions
from server.store.engine import UnknownError
from server.store.values import Subscription

MOST_CHANNELS = 20

TEST_TITLE = "This channel is told"
TEST_BODY = "A test, asked for on the page. Nothing is due."


def add_channel(parts: Parts, name: str, address: str) -> Subscription:
    """Tell by another channel from now on.

    Raises ChannelError for a name or an address that cannot be, RefusedError where the address is there.
    """
    address = address.strip()
    try:
        name = checked_name("the channel’s name", name)
    except BadNameError as error:
        raise ChannelError(str(error)) from None
    if len(subscriptions.channels(parts.engine)) >= MOST_CHANNELS:
        raise ChannelError(f"there are {MOST_CHANNELS} channels already, which is the most: take one off")
    check_address(address)
    return subscriptions.add_channel(parts.engine, name, address, parts.wall_clock())


def try_channel(parts: Parts, channel_id: int) -> Outcome:
    """Send a test by one channel, at once and past the outbox. Raises UnknownError where there is none."""
    return tell(channel(parts, channel_id).endpoint, TEST_TITLE, TEST_BODY)


def channel(parts: Parts, channel_id: int) -> Subscription:
    """One channel that is told. Raises UnknownError where there is none of that number."""
    for one in subscriptions.channels(parts.engine):
        if one.id == channel_id:
            return one
    raise UnknownError(f"there is no channel {channel_id}")
