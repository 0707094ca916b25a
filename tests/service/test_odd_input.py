"""Bad input that a hand would try: times without a zone everywhere, names of every sort, on every page."""

import html
from typing import Any

import pytest

from tests.service.fake_shop import Browser, FakeShop, furnished

NO_ZONE = "2026-03-02T12:00:00"
FILLED = {"node": "wall", "place": "drying-room", "place_id": "drying-room"}

ODD = (
    "🦢 Heron 🪶",
    "עגור אפור",  # right to left
    "مالك الحزين 3",
    "<script>alert(1)</script>",
    "<b>bold</b> & \"quoted\" 'so'",
    "{{ 7 * 7 }} {% raw %}",
    "W" * 60,
)


def times_of(schema: dict[str, Any], shapes: dict[str, Any]) -> bool:
    """Whether a value of that schema is a time, or may be one."""
    options = [schema, *schema.get("anyOf", ())]
    return any(one.get("format") == "date-time" for one in options)


def timed_calls(web: Browser) -> list[tuple[str, str, str, str]]:
    """(method, path, where, name) of every time that the API takes, by its own description."""
    api = web.get("/api/openapi.json").json()
    shapes, found = api["components"]["schemas"], []
    for path, calls in api["paths"].items():
        for method, call in calls.items():
            for one in call.get("parameters", ()):
                if times_of(one["schema"], shapes):
                    found.append((method, path, "query", one["name"]))
            content = call.get("requestBody", {}).get("content", {}).get("application/json", {})
            for option in (content.get("schema", {}), *content.get("schema", {}).get("anyOf", ())):
                shape = shapes.get(option.get("$ref", "").rpartition("/")[2], {})
                for name, field in shape.get("properties", {}).items():
                    if times_of(field, shapes):
                        found.append((method, path, "body", name))
    return found


def test_a_time_without_a_zone_is_refused_wherever_one_is_taken(shop: FakeShop, web: Browser) -> None:
    furnished(shop)
    calls = timed_calls(web)
    assert len(calls) >= 10, calls
    for method, path, where, name in calls:
        parts = [FILLED.get(part[1:-1], "1") if part.startswith("{") else part for part in path.split("/")]
        more: dict[str, Any] = {"params" if where == "query" else "json": {name: NO_ZONE}}
        answer = web.ask(method.upper(), "/".join(parts), **more)
        assert answer.status_code == 422, (method, path, name, answer.text)
        assert "timezone" in answer.text, (method, path, name, answer.text)
        assert name in answer.text, (method, path, name, answer.text)
    print(f"\n{len(calls)} times in {len({(method, path) for method, path, *_ in calls})} calls")


@pytest.mark.parametrize("name", ODD)
def test_a_name_is_shown_as_it_was_said_on_every_page(shop: FakeShop, web: Browser, name: str) -> None:
    furnished(shop)
    form = {
        "label": name, "hook": name, "place": "cellar", "recipe": f"{shop.recipe.id}", "size": "25",
        "spot_name": [name], "spot_code": ["joint:30"],
    }  # fmt: skip
    hung = web.post("/trees", data=form)
    assert hung.status_code == 303, hung.text
    tree = hung.headers["location"]
    number = int(tree.rpartition("/")[2])
    assert web.post(f"{tree}/notes", data={"words": name}).status_code == 303
    assert web.get(f"/api{tree}").json()["label"] == name
    shown = html.escape(name).replace("&#x27;", "&#39;").replace("&quot;", "&#34;")
    for path in ("", "/notes", "/change", "/spots", "/scrap", "/another", "/tag", "/burnout-check"):
        page = web.get(f"{tree}{path}")
        assert page.status_code == 200, path
        assert shown in page.text, path
        assert shown == name or name not in page.text, path
    for path in (f"/T/{number}", "/tags", "/wall", "/"):
        page = web.get(path)
        assert page.status_code == 200, path
        assert shown == name or name not in page.text, path
    assert shown in web.get(f"/T/{number}").text
