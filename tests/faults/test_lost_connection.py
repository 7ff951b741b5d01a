"""A short run of tests.faults.lost_connection. With a real server."""

from tests.faults.lost_connection import lost_connections


def test_what_is_appended_while_connections_are_lost_is_there_or_said_not_to_be(postgres_server):
    outcomes = lost_connections(postgres_server, 20, seed=20261129)
    assert outcomes["done"] > 0
    assert outcomes["not written"] + outcomes["unsure"] == 20
