"""A ledger in memory, and a rack whose verdicts are set by hand: for trials of when a person is told."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from scheduler.forecast import Notice, Outlook
from scheduler.ledger import Held, PutOff, Settlement, Words
from sensors.clock import Millis


@dataclass
class Entry:
    """A notice as it is kept."""

    notice: Notice
    state: str
    told_at: Millis | None = None


@dataclass
class MemoryLedger:
    """Keeps what a `scheduler.ledger.Ledger` must; `messages` went out: (time, title, body, keys told)."""

    entries: dict[str, Entry] = field(default_factory=dict)
    messages: list[tuple[Millis, str, str, tuple[str, ...]]] = field(default_factory=list)
    later: dict[int, PutOff] = field(default_factory=dict)

    def told(self, tree_id: int) -> Mapping[str, Millis]:
        return {
            key: entry.notice.at
            for key, entry in self.entries.items()
            if entry.state == "told" and entry.notice.tree_id == tree_id
        }

    def held(self) -> Sequence[Held]:
        return [
            Held(key, entry.notice.cause, entry.notice.tree_id, entry.notice.at)
            for key, entry in self.entries.items()
            if entry.state == "held"
        ]

    def last_told(self) -> Mapping[str, Millis]:
        found: dict[str, Millis] = {}
        for entry in self.entries.values():
            if entry.told_at is not None:
                found[entry.notice.cause] = max(found.get(entry.notice.cause, 0), entry.told_at)
        return found

    def put_offs(self) -> Mapping[int, PutOff]:
        return self.later

    def settle(self, settlement: Settlement, words: Words, now: Millis) -> int:
        new = 0
        for notice in settlement.new:
            known = self.entries.get(notice.key)
            if known is None or known.state == "moot":
                self.entries[notice.key] = Entry(notice, "held")  # what was moot keeps its place
                new += 1
        for key in settlement.moot:
            if key in self.entries and self.entries[key].state == "held":
                self.entries[key].state = "moot"
        going = [one for one in settlement.tell if self.entries[one.key].state == "held"]
        for notice in going:
            self.entries[notice.key] = Entry(notice, "told", now)
        if going:
            title, body = words(going) if len(going) > 1 else (going[0].title, going[0].body)
            self.messages.append((now, title, body, tuple(notice.key for notice in going)))
        return new

    @property
    def titles(self) -> list[str]:
        return [title for _, title, _, _ in self.messages]

    @property
    def keys_told(self) -> list[str]:
        return [key for *_, keys in self.messages for key in keys]


@dataclass
class SetRack:
    """A judge whose verdicts are said from outside."""

    trees: dict[int, Outlook] = field(default_factory=dict)

    def outlooks(self) -> Sequence[Outlook]:
        return list(self.trees.values())

    def say(self, *outlooks: Outlook) -> None:
        self.trees.update({outlook.tree_id: outlook for outlook in outlooks})
