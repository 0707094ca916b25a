"""The short way through a PUBLISH, against the long one."""

from hypothesis import given
from hypothesis import strategies as st

from sensors.intake.bodies import publish
from sensors.intake.fields import Fields
from sensors.intake.packets import LEVEL, LEVEL_5, Publish
from sensors.intake.usual_publish import usual_publish

BODIES_OF_PUBLISH = st.one_of(
    st.binary(max_size=40),
    st.builds(
        lambda topic, packet_id, properties, rest: (
            len(topic).to_bytes(2, "big") + topic + packet_id.to_bytes(2, "big") + properties + rest
        ),
        st.sampled_from([b"", b"a", b"a/+", b"#", b"\0", b"\xff", b"x" * 199, "Höhle".encode()]),
        st.integers(0, 2),
        st.sampled_from([b"", b"\x00", b"\x01", b"\x02\x01\x01", b"\x80\x00"]),
        st.binary(max_size=5),
    ),
)


@given(BODIES_OF_PUBLISH, st.integers(0, 15), st.sampled_from([LEVEL, LEVEL_5]))
def test_a_message_read_the_short_way_is_what_the_long_way_reads(body: bytes, flags: int, level: int) -> None:
    short = usual_publish(body, flags, level)
    if short is not None:
        fields = Fields("PUBLISH", body)
        assert publish(fields, flags, level) == short
        assert not fields.left()


def test_the_message_that_nearly_all_are_is_read_the_short_way() -> None:
    said = Publish("slowcorner/shop/n1/senml", b"[]", 1, 7)
    for level, behind in ((LEVEL, b""), (LEVEL_5, b"\0")):
        topic = said.topic.encode()
        body = len(topic).to_bytes(2, "big") + topic + b"\0\7" + behind + said.payload
        assert usual_publish(body, 0b0010, level) == said
