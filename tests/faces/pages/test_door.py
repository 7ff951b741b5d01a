"""The door: what is sent with a request that is answered without it is let come all the same. Common practice, no source."""

import anyio

from calib.faces.pages.frame import door
from calib.faces.pages.frame.door import LARGEST_SENT, Door

SCOPE = {
    "type": "http", "method": "POST", "path": "/", "raw_path": b"/", "query_string": b"", "headers": [(b"host", b"localhost")],
}  # fmt: skip
PARTS = [{"type": "http.request", "body": b"x" * 10, "more_body": place < 2} for place in range(3)]


came = []


async def _refused(scope, receive, send):  # noqa: ARG001  # as an application
    await send({"type": "http.response.start", "status": 303, "headers": []})
    await send({"type": "http.response.body", "body": b""})


def answered(receive):
    """What is sent by a door whose application reads nothing, and how many parts had come by then."""

    async def asked():
        said = []

        async def send(message):
            said.append((message["type"], len(came)))

        await Door(_refused, "localhost", {}, by_https_alone=False)(SCOPE, receive, send)
        return said

    came.clear()
    return anyio.run(asked)


async def _in_parts():
    came.append(PARTS[len(came)])
    return came[-1]


async def _without_an_end():
    await anyio.sleep_forever()


def test_an_answer_leaves_when_what_was_sent_has_come():
    """A proxy that is still sending takes the end of the connection for a failure, and says 502 in the place of the answer."""
    assert answered(_in_parts) == [("http.response.start", 3), ("http.response.body", 3)]


def test_whoever_does_not_end_is_answered_all_the_same(monkeypatch):
    monkeypatch.setattr(door, "_READ_OUT_WITHIN", 0.01)
    assert answered(_without_an_end) == [("http.response.start", 0), ("http.response.body", 0)]


def test_no_more_is_read_than_is_taken():
    async def endless():
        came.append(None)
        return {"type": "http.request", "body": b"x" * LARGEST_SENT, "more_body": True}

    assert answered(endless) == [("http.response.start", 2), ("http.response.body", 2)]
