"""The composition root: the one place where the parts are put together."""

import asyncio
import logging
from collections.abc import AsyncIterator, Awaitable, Callable, Collection, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from functools import partial

from fastapi import FastAPI

from scheduler.jobs import Jobs
from scheduler.reminders import Reminders
from sensors.clock import MINUTE_MS, Clock, Millis, wall_millis
from sensors.intake.batch import Batcher
from sensors.intake.message import Message
from sensors.mapping import Mapping
from sensors.senml import Parsed
from server.access import Access
from server.air_history import AirHistory
from server.changes import Changes
from server.clock_desk import ClockDesk
from server.coat_book import CoatBook
from server.guard import LOOPBACK_HOSTS
from server.live import LiveRack
from server.mqtt_in import MqttIn, mqtt_in
from server.parts import Parts, Readiness
from server.phone.ledger import NoticeLedger
from server.phone.other_channels import OtherChannels
from server.phone.outbox import Outbox
from server.phone.trying import try_phone
from server.phone.vapid import vapid_keys
from server.phone.web_push import WebPush
from server.press_desk import PressDesk
from server.settings import Settings
from server.shop_rules import ShopRules, shop_rules
from server.shop_time import HeldClock
from server.store import mappings, places, readings
from server.store.engine import Engine, StoreError
from server.store.held_notices import keys_of
from server.store.values import BatchOutcome, Delivery, KeptNotice
from server.telling import telling
from server.troubles import Troubles
from server.web import web_app

log = logging.getLogger("slowcorner")


@dataclass
class Service:
    """Everything that runs, over one store. `running` starts it within an event loop and ends it in order."""

    settings: Settings
    engine: Engine
    clock: Clock
    on_notice: Callable[[KeptNotice], None] = lambda notice: None
    batcher: Batcher[BatchOutcome] = field(init=False)
    mqtt: MqttIn = field(init=False)
    parts: Parts = field(init=False)
    rack: LiveRack = field(init=False)
    air_history: AirHistory = field(init=False)
    jobs: Jobs = field(init=False)
    _last_arrival: Millis = 0

    def __post_init__(self) -> None:
        self._last_arrival = readings.newest_arrival(self.engine)
        changes = Changes(self.clock.now)
        self.rack = LiveRack(self.engine, self.clock, on_picture=changes.shown)
        self.air_history = AirHistory(self.engine)
        self._coat_book = CoatBook(self.engine)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._keys = vapid_keys(self.settings.data / "push-key.pem")
        self._ledger = NoticeLedger(self.engine, wall_millis, self._noticed)
        web_push = WebPush(self._keys)
        self._outbox = Outbox(
            self.engine,
            {"push": web_push, "other": OtherChannels()},
            wall_millis,
            may_send=lambda: not telling(self.engine, self.clock.now()).quiet.holds(self.clock.now()),
            still_holds=self._still_holds,
        )
        self.mqtt = mqtt_in(self.settings, self.engine, self.clock, self._take, self.rack.outlooks)
        self.parts = Parts(
            engine=self.engine,
            rack=self.rack,
            clock=self.clock,
            wall_clock=wall_millis,
            vapid_public_key=self._keys.public,
            ready=self.ready,
            on_readings=self.take_readings,
            air_history=self.air_history,
            changes=changes,
            try_phone=partial(try_phone, self.engine, web_push, wall_millis),
            data=self.settings.data,
            on_mappings=self._use_mappings,
            not_kept=self.not_kept,
        )
        self._reminders = Reminders(
            self.rack,
            self._ledger,
            telling=lambda: telling(self.engine, self.clock.now()),
            troubles=Troubles(self.parts),
        )
        self._press_desk = PressDesk(self.parts)
        self._clock_desk = ClockDesk(self.parts)

    @asynccontextmanager
    async def running(self) -> AsyncIterator[None]:
        """Open the rack, listen for nodes, judge by the clock; all of it is ended on the way out."""
        await asyncio.to_thread(self.rack.open)
        self.batcher = Batcher(self.commit)
        self.jobs = Jobs(self.clock, self._tick, self._outbox.run_once)
        try:
            self._loop = asyncio.get_running_loop()
            self.mqtt.use_mappings(self._mappings())
            await self.mqtt.start()
            self.jobs.start()
            warming = asyncio.create_task(asyncio.to_thread(self._warm), name="air history")
            yield
            await warming
        finally:
            await self.jobs.stop()
            await self.mqtt.stop()
            await self._press_desk.close()
            await self.batcher.close()
            await asyncio.to_thread(self.rack.close)

    def commit(self, messages: Sequence[Message]) -> BatchOutcome:
        """Keep a batch, in one transaction, and let the rack hear of it. Runs in the batcher's one thread."""
        said = [reading for message in messages for reading in message.readings]
        # Each commit has an arrival time of its own, later than all before it, even where the machine's clock
        # is set back: by it a restart tells what the saved states had heard of.
        self._last_arrival = max(self._last_arrival + 1, self.clock.now())
        outcome = readings.keep(
            self.engine,
            said,
            [rejected for message in messages for rejected in message.rejected],
            [status for message in messages for status in message.statuses],
            self._last_arrival,
        )
        self.rack.hear(said, self._last_arrival)
        self.air_history.heard(outcome)
        self.parts.changes.air_heard(self._last_arrival)
        self.jobs.wake()
        return outcome

    def ready(self) -> Readiness:
        """Whether the service is able to judge: the store answers, and the air of each place is known."""
        reasons = []
        if self.mqtt.trouble is not None:
            reasons.append(self.mqtt.trouble)
        if not_kept := self.not_kept():
            reasons.append(f"what the nodes say is not being kept: {not_kept}")
        gap_limit = ShopRules().gap_limit
        try:
            readings.newest_arrival(self.engine)
            gap_limit = shop_rules(self.engine).gap_limit
        except StoreError as error:
            reasons.append(str(error))
        if self.jobs.trouble is not None:
            reasons.append(f"judging does not work: {self.jobs.trouble}")
        now = self.clock.now()
        for place, newest in self.rack.newest_air().items():
            if newest is None:
                reasons.append(f"no node has told the air at {place} yet")
            elif now - newest > gap_limit:
                minutes = (now - newest) // MINUTE_MS
                reasons.append(f"the air at {place} has not been known for {minutes} min")
        return Readiness(not reasons, tuple(reasons))

    def not_kept(self) -> str:
        """Why what nodes say is not kept, and so not acknowledged; nothing where it is."""
        return str(self.batcher.trouble or "")

    async def take_readings(self, parsed: Parsed) -> int:
        """Keep readings that came by HTTP; returns once they are on the disk, with how many were good."""
        await self.batcher.put(Message(self.clock.now(), parsed.readings, parsed.rejected))
        return len(parsed.readings)

    def web(self, access: Access | None = None, hosts: Collection[str] = LOOPBACK_HOSTS) -> FastAPI:
        """The web application over this service; without `access` it is open to this machine."""
        settings = self.settings
        authority = settings.data / "certificate" / "authority.pem"
        return web_app(
            self.parts, hosts, access=access, proxies=settings.trusted_proxies, authority=authority
        )

    async def _tick(self, now: Millis, forecast: bool) -> None:
        # What is due is told before the forecasts are made, which take longer and which it does not wait for.
        await asyncio.to_thread(self.rack.look, False)
        await asyncio.to_thread(self._reminders.remind, now)
        if forecast:
            await asyncio.to_thread(self.rack.foresee)
            await asyncio.to_thread(self._reminders.remind, now)
        if forecast:
            await asyncio.to_thread(self._keep_coats, now)
            await asyncio.to_thread(self._clock_desk.look, now)
        if isinstance(self.clock, HeldClock) and forecast:
            await asyncio.to_thread(self.clock.keep, self.engine)

    def _keep_coats(self, now: Millis) -> None:
        on_rack = [self.rack.tree(outlook.tree_id) for outlook in self.rack.outlooks()]
        self._coat_book.keep([verdict for verdict in on_rack if verdict is not None], now)

    def _warm(self) -> None:
        try:
            self.air_history.warm([place.id for place in places.places(self.engine)], self.clock.now())
        except StoreError as error:
            log.warning("The chart of the last fortnight is made when it is asked for: %s", error)

    def _still_holds(self, delivery: Delivery) -> bool:
        return self._reminders.still_due(keys_of(self.engine, delivery.notice_id))

    def _noticed(self, notice: KeptNotice) -> None:
        self.jobs.post()
        self.on_notice(notice)

    def _take(self, message: Message) -> Awaitable[None]:
        """Keep a node's message; done when all of it is on the disk."""
        return self._take_presses(message) if message.presses else self.batcher.put(message)

    async def _take_presses(self, message: Message) -> None:
        rejected = await self._press_desk.take(message.presses)
        if rejected:
            await self.batcher.put(message._replace(presses=(), rejected=rejected))

    def _mappings(self) -> list[Mapping]:
        return [kept.mapping for kept in mappings.mappings(self.engine)]

    def _use_mappings(self) -> None:
        # Told by a request, in a thread of its own; the connection is the event loop's.
        found = self._mappings()
        if self._loop is not None:
            self._loop.call_soon_threadsafe(self.mqtt.use_mappings, found)
