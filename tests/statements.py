"""What a session sends to its database."""

from contextlib import contextmanager

from sqlalchemy import event


@contextmanager
def statements_of(session):
    """The statements that are sent meanwhile."""
    sent = []

    def note(*asked):
        sent.append(asked[2])

    event.listen(session.get_bind(), "before_cursor_execute", note)
    yield sent
    event.remove(session.get_bind(), "before_cursor_execute", note)
