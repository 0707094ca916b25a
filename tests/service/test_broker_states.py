"""Which states of trees are told to a broker: what changed, once; all of them when it is reached anew."""

import json
from dataclasses import replace

from scheduler.forecast import Outlook
from server.publishing import StatePublisher, state_topic
from tests.planning.outlooks import HERON, NOW, outlook

TEAL = outlook(2, "Teal", "fit", NOW)


class Told:
    """What a broker was told; while it is `away` it takes nothing."""

    def __init__(self, *rack: Outlook) -> None:
        self.rack = list(rack)
        self.away = False
        self.said: list[tuple[str, bytes]] = []
        self.publisher = StatePublisher(lambda: self.rack, self.take)

    def take(self, topic: str, payload: bytes) -> bool:
        if not self.away:
            self.said.append((topic, payload))
        return not self.away

    def news(self) -> list[str]:
        """Whom it was told of since the last time it was asked; "-" where a topic was emptied."""
        self.publisher.say()
        said, self.said = self.said, []
        return [json.loads(payload)["label"] if payload else "-" for _, payload in said]


def test_a_state_is_told_once_and_again_when_it_changed() -> None:
    told = Told(HERON, TEAL)
    assert told.news() == ["Heron", "Teal"]
    assert told.news() == []
    told.rack[0] = replace(HERON, as_of=NOW + 1)  # judged again, and nothing that is told is different
    assert told.news() == []
    told.rack[0] = replace(HERON, remaining=0.2)
    assert told.news() == ["Heron"]


def test_a_state_has_the_fields_of_the_rack() -> None:
    told = Told(HERON)
    told.publisher.say()
    ((topic, payload),) = told.said
    assert topic == state_topic(1) == "slowcorner/rack/1/state"
    assert list(json.loads(payload)) == [
        *("id", "label", "hook", "place", "coat", "of", "kind", "state"),
        *("slowest_spot", "remaining", "fit_at", "reason"),
    ]


def test_what_could_not_be_told_is_told_later() -> None:
    told = Told(HERON)
    told.away = True
    assert told.news() == []
    told.away = False
    assert told.news() == ["Heron"]
    told.away, told.rack = True, []
    assert told.news() == []
    told.away = False
    assert told.news() == ["-"]


def test_a_broker_reached_anew_is_told_all_and_what_it_holds_of_others_is_emptied() -> None:
    told = Told(HERON, TEAL)
    assert told.news() == ["Heron", "Teal"]
    told.publisher.anew()
    told.publisher.held(state_topic(2))
    told.publisher.held(state_topic(9))
    assert [topic for topic, payload in told.said if not payload] == [state_topic(9)]
    assert told.news() == ["Heron", "Teal", "-"]
