"""Every call of the API, fed by its own description: what it may take and what it must refuse.

The data come from schemathesis (an open-source tester of OpenAPI descriptions), the same ones each time: no
answer may be a fault of the server's, none may have a status or a shape that the description does not list.
"""

import warnings
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis.checks import not_a_server_error
from schemathesis.core.result import Ok
from schemathesis.generation import GenerationMode
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from server.store.engine import open_store
from tests.browser.conftest import LiveShop
from tests.service.fake_shop import FakeShop, furnished

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
CASES = 12


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
def test_no_call_fails_or_answers_what_is_not_described(tmp_path: Path, mode: GenerationMode) -> None:
    engine = open_store(f"sqlite:///{tmp_path}/slowcorner.db")
    shop = FakeShop(engine)
    furnished(shop)
    live = LiveShop(shop)
    live.start()
    schema = schemathesis.openapi.from_url(f"{live.address}/api/openapi.json")
    results = list(schema.get_all_operations())
    calls = [result.ok() for result in results if isinstance(result, Ok)]
    assert len(calls) == len(results), "part of the description cannot be read"
    assert len(calls) > 25, "the description lists hardly any calls"
    sent: dict[int, int] = {}
    bare: list[str] = []
    for call in calls:

        @settings(
            max_examples=CASES,
            derandomize=True,
            deadline=None,
            database=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        @given(call.as_strategy(generation_mode=mode))
        def try_it(case: "schemathesis.Case[Any]") -> None:
            if mode is GenerationMode.POSITIVE:
                lead_home(case)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                answer = case.call()
            sent[answer.status_code] = sent.get(answer.status_code, 0) + 1
            case.validate_response(answer, checks=CHECKS)

        try:
            try_it()
        except Unsatisfiable:  # it takes nothing, so nothing of it can be wrong
            bare.append(call.path)
        except Exception as fault:
            raise AssertionError(f"{call.method.upper()} {call.path}: {fault}") from fault
    assert len(bare) < len(calls) / 3
    print(f"\n{mode}: {len(calls)} calls; answers by status {dict(sorted(sent.items()))}")
    assert sum(sent.values()) > 4 * len(calls)
    live.stop()
    engine.dispose()


def lead_home(case: "schemathesis.Case[Any]") -> None:
    """Put trees and places that there are for most of those that are made up, so that calls get that far."""
    where = case.path_parameters
    if "tree_id" in where and isinstance(where["tree_id"], int) and where["tree_id"] % 4:
        where["tree_id"] = where["tree_id"] % 4
    if "place" in where:
        where["place"] = "drying-room"
