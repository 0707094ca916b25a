"""Topics, the names of places and nodes, and presses of a button."""

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.clock import parse_time
from sensors.press import parse_press
from sensors.reading import KeptOutError, Press
from sensors.topics import Topic, check_slug, parse_topic

NOW = parse_time("2026-03-02T06:00:00Z")
SLUGS = st.text(string.ascii_lowercase + string.digits + "-_", min_size=1, max_size=64)


@pytest.mark.parametrize("kind", ["senml", "status", "dipped"])
def test_the_three_topics(kind: str) -> None:
    topic = parse_topic(f"slowcorner/dip-room/n_1/{kind}")
    assert (topic.place, topic.node, topic.kind) == ("dip-room", "n_1", kind)


@given(SLUGS.filter(lambda slug: slug != "rack"), SLUGS)
def test_a_topic_says_itself_again(place: str, node: str) -> None:
    topic = Topic(place, node, "senml")
    assert parse_topic(str(topic)) == topic


@pytest.mark.parametrize(
    ("topic", "reason"),
    [
        ("", "is not of the form slowcorner/<place>/<node>/senml|status|dipped"),
        ("slowcorner/shop/senml", "is not of the form"),
        ("slowcorner/shop/n1/senml/", "is not of the form"),
        ("/slowcorner/shop/n1/senml", "is not of the form"),
        ("Slowcorner/shop/n1/senml", "is not of the form"),
        ("weather/shop/n1/senml", "is not of the form"),
        ("slowcorner/shop/n1/readings", 'ends in "readings"; it may end in senml, status, dipped'),
        ("slowcorner/Shop/n1/senml", 'place "Shop" is not 1 to 64 characters of a-z, 0-9, - and _'),
        ("slowcorner//n1/senml", 'place "" is not 1 to 64'),
        ("slowcorner/shop/n 1/senml", 'node "n 1" is not 1 to 64'),
        ("slowcorner/shop/" + "n" * 65 + "/senml", "is not 1 to 64"),
        ("slowcorner/shop/n1\n/senml", 'node "n1\\n" is not 1 to 64'),
        ("slowcorner/rack/n1/senml", 'place "rack" is a name the service keeps for itself'),
    ],
)
def test_other_topics_are_refused_with_the_reason(topic: str, reason: str) -> None:
    with pytest.raises(KeptOutError) as refusal:
        parse_topic(topic)
    assert reason in str(refusal.value)
    assert str(refusal.value).isprintable()


def test_a_node_may_be_called_rack() -> None:
    check_slug("node", "rack")
    assert parse_topic("slowcorner/shop/rack/status").node == "rack"


@given(st.text(max_size=120))
def test_no_text_makes_it_raise_anything_else(topic: str) -> None:
    try:
        parse_topic(topic)
    except KeptOutError as refusal:
        assert str(refusal).isprintable()  # noqa: PT017 - both outcomes are right; the reason must be readable


def test_a_press_has_a_hook_and_an_id_and_may_have_a_time() -> None:
    said = parse_press(b'{"hook": "A3", "id": "b1-17", "t": -2}', "shop", "button", NOW)
    assert said == Press("shop", "button", "A3", "b1-17", NOW - 2000)
    assert parse_press(b'{"hook": "A3", "id": "b1-17"}', "shop", "button", NOW).time == NOW


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "the payload is empty"),
        (b"A3", "not JSON"),
        (b'["A3"]', "not a press"),
        (b'{"id": "1"}', "the press has no hook"),
        (b'{"hook": "A3"}', "the press has no id"),
        (b'{"hook": "", "id": "1"}', 'hook "" is not a text of 1 to 64'),
        (b'{"hook": 3, "id": "1"}', "hook 3 is not a text"),
        (b'{"hook": "A3", "id": "\\ud800"}', "is not a text of 1 to 64 printable characters"),
        (b'{"hook": "A3", "id": "1", "t": 400}', "ahead of the clock"),
        (b'{"hook": "A3", "id": "1", "t": NaN}', "t NaN is not a finite number"),
    ],
)
def test_a_press_that_cannot_be_understood_is_refused(payload: bytes, reason: str) -> None:
    with pytest.raises(KeptOutError) as refusal:
        parse_press(payload, "shop", "button", NOW)
    assert reason in str(refusal.value)
