"""The shop's page: when it is warned, set by form."""

import pytest

from sensors.clock import MINUTE_MS
from server.shop_rules import shop_rules
from tests.service.fake_shop import Browser, FakeShop
from tests.service.test_pages import Reader, read

SAID = {
    "closes_at": "17:15", "gap_limit_min": "45", "cooling_k": "6.5", "warming_k": "3", "prewet_after_h": "24",
}  # fmt: skip


def test_the_rules_are_shown_and_set(shop: FakeShop, web: Browser) -> None:
    page = web.get("/shop").text
    assert 'name="closes_at" value="18:00"' in page
    assert 'name="gap_limit_min" value="120" min="30" max="720"' in page
    assert 'name="cooling_k" value="7" min="0.5" max="30"' in page
    answer = web.post("/shop/warnings", data=SAID)
    assert (answer.status_code, answer.headers["location"]) == (303, "/shop")
    rules = shop_rules(shop.engine)
    assert f"{rules.closes:%H:%M}" == "17:15"
    assert rules.gap_limit == 45 * MINUTE_MS
    assert (rules.limits.cooling_k, rules.limits.warming_k, rules.limits.prewet_after_h) == (6.5, 3.0, 24.0)
    assert 'name="warming_k" value="3"' in web.get("/shop").text
    read(web, "/shop")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"warming_k": "0"}, "warming_k 0 is outside 0.5 to 30"),
        ({"closes_at": "25:00"}, "closing time '25:00'"),
        ({"gap_limit_min": "29"}, "gap limit 29 is not a whole number of minutes from 30 to 720"),
        ({"cooling_k": "nan"}, "cooling_k nan is not a number"),
    ],
)
def test_rules_that_cannot_be_are_refused_in_words(
    shop: FakeShop, web: Browser, change: dict[str, str], words: str
) -> None:
    before = shop_rules(shop.engine)
    answer = web.post("/shop/warnings", data=SAID | change)
    assert answer.status_code == 422
    assert words in Reader(answer.text).text
    assert shop_rules(shop.engine) == before
