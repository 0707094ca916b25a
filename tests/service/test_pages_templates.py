"""Every page's template and its context hold each other: no name without a value, no value without a use."""

from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from types import UnionType
from typing import Any, get_args, get_type_hints

import pytest
from jinja2 import meta, nodes

from server.pages.all_pages import Page
from server.pages.render import environment, template_name

PAGES: tuple[type[Any], ...] = get_args(Page)


def trees_of(name: str) -> Iterator[nodes.Template]:
    """A template and all it extends, includes or imports, parsed."""
    env = environment()
    assert env.loader is not None
    source, _, _ = env.loader.get_source(env, name)
    tree = env.parse(source)
    yield tree
    for other in meta.find_referenced_templates(tree):
        assert other is not None
        yield from trees_of(other)


def dataclasses_in(kind: Any) -> Iterator[type[Any]]:
    """The dataclasses that a type is made of, at any depth."""
    if is_dataclass(kind) and isinstance(kind, type):
        yield kind
        for hint in get_type_hints(kind).values():
            yield from dataclasses_in(hint)
    elif isinstance(kind, UnionType) or get_args(kind):
        for part in get_args(kind):
            yield from dataclasses_in(part)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.__name__)
def test_names_of_the_template_are_the_fields_of_its_context(page: type[Any]) -> None:
    parsed = list(trees_of(template_name(page)))
    macros = {name for tree in parsed for node in tree.find_all(nodes.FromImport) for name in node.names}
    used = set().union(*(meta.find_undeclared_variables(tree) for tree in parsed)) - macros
    assert used == {field.name for field in fields(page)}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.__name__)
def test_what_stands_inside_a_context_is_used(page: type[Any]) -> None:
    read = {node.attr for tree in trees_of(template_name(page)) for node in tree.find_all(nodes.Getattr)}
    inner = {kind for kind in dataclasses_in(page) if kind is not page}
    given = {field.name for kind in inner for field in fields(kind)}
    assert given <= read


def test_templates_compute_nothing() -> None:
    for page in PAGES:
        for tree in trees_of(template_name(page)):
            for kind in (nodes.Add, nodes.Sub, nodes.Mul, nodes.Div, nodes.Filter, nodes.Concat):
                assert not list(tree.find_all(kind)), (page, kind)
