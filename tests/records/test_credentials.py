"""The file of credentials: what it lets in, for how long, how often somebody may try, and that only its owner reads it."""

import os
import threading
from datetime import UTC, datetime, timedelta

import pytest

from calib.errors import RecordsError
from calib.records.credentials import (
    CHALLENGE_LASTS,
    FREE_TRIES,
    LINK_LASTS,
    LONGEST_WAIT,
    SESSION_LONGEST,
    SESSION_UNUSED,
    Credentials,
    Passkey,
    wait_after,
)

NOW = datetime(2026, 3, 6, 9, tzinfo=UTC)
SECOND = timedelta(seconds=1)


@pytest.fixture
def credentials(tmp_path):
    made = Credentials(tmp_path / "credentials")
    made.enrol("Tom", None, "link", NOW)
    return made


def key(person="Tom", id_=b"k"):
    return Passkey(id_, person, b"public", 0, "phone", NOW)


def test_only_its_owner_may_read_it_and_it_is_refused_where_others_may(tmp_path):
    path = tmp_path / "credentials"
    Credentials(path)
    assert path.stat().st_mode & 0o777 == 0o600
    path.chmod(0o640)
    with pytest.raises(RecordsError, match="others may read the file of credentials: chmod 600 it first"):
        Credentials(path)


@pytest.mark.parametrize("content", [b"no database at all, but a text of some length" * 100])
def test_a_file_of_something_else_is_refused_in_a_line(tmp_path, content):
    path = tmp_path / "credentials"
    path.write_bytes(content)
    path.chmod(0o600)
    with pytest.raises(RecordsError, match="the file of credentials cannot be used"):
        Credentials(path)


def test_a_folder_that_is_not_there_is_told_in_a_line(tmp_path):
    with pytest.raises(RecordsError, match="cannot be opened"):
        Credentials(tmp_path / "none" / "credentials")


def test_a_link_holds_until_it_is_used_or_too_old(credentials):
    assert credentials.person_of_link("link", NOW + LINK_LASTS) == "Tom"
    assert credentials.person_of_link("link", NOW + LINK_LASTS + SECOND) is None
    assert credentials.use_link("link", NOW, "hash") == "Tom"
    assert credentials.use_link("link", NOW, "another hash") is None
    assert credentials.enrolled("Tom").password == "hash"  # noqa: S105 (a word that stands for one)


def test_of_two_who_use_a_link_at_once_one_is_let_in(credentials):
    let_in = []
    start = threading.Barrier(8)

    def use(number):
        start.wait()
        let_in.append(credentials.use_link("link", NOW, f"hash {number}"))

    threads = [threading.Thread(target=use, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(let_in, key=str) == [None] * 7 + ["Tom"]


def test_a_newer_link_takes_the_place_of_the_one_before(credentials):
    credentials.enrol("Tom", None, "newer", NOW)
    assert credentials.person_of_link("link", NOW) is None
    assert credentials.person_of_link("newer", NOW) == "Tom"


def test_enrolling_anew_takes_away_whatever_let_the_person_in(credentials):
    credentials.use_link("link", NOW, "hash")
    credentials.add_passkey(key())
    credentials.begin_session("secret", "Tom", NOW)
    credentials.enrol("Tom", "tom", "newer", NOW)
    assert credentials.signed_in("secret", NOW) is None
    assert credentials.passkeys_of("Tom") == []
    assert (credentials.enrolled("Tom").password, credentials.enrolled("Tom").login) == (None, "tom")


def test_a_session_ends_when_it_was_not_used_for_long(credentials):
    credentials.begin_session("secret", "Tom", NOW)
    assert credentials.signed_in("secret", NOW + SESSION_UNUSED).enrolled.person == "Tom"
    assert credentials.signed_in("secret", NOW + 2 * SESSION_UNUSED).enrolled.person == "Tom"  # used in between
    assert credentials.signed_in("secret", NOW + 3 * SESSION_UNUSED + SECOND) is None


def test_a_session_ends_however_often_it_is_used(credentials):
    credentials.begin_session("secret", "Tom", NOW)
    at = NOW
    while at <= NOW + SESSION_LONGEST:
        assert credentials.signed_in("secret", at) is not None
        at += SESSION_UNUSED
    assert credentials.signed_in("secret", NOW + SESSION_LONGEST + SECOND) is None


def test_another_password_ends_every_session_but_that_of_whoever_set_it(credentials):
    for secret in ("own", "other"):
        credentials.begin_session(secret, "Tom", NOW)
    credentials.set_password("Tom", "hash", "own")
    assert credentials.signed_in("own", NOW) is not None
    assert credentials.signed_in("other", NOW) is None


def test_what_is_to_be_said_is_said_once(credentials):
    credentials.begin_session("secret", "Tom", NOW)
    credentials.leave_said("secret", ["written", "and more"])
    assert credentials.take_said("secret") == ["written", "and more"]
    assert credentials.take_said("secret") == []


@pytest.mark.parametrize(
    ("kind", "count", "seconds"),
    [
        ("name", 0, 0), ("name", 3, 0), ("name", 4, 1), ("name", 5, 2), ("name", 8, 16), ("name", 12, 256), ("name", 13, 300),
        ("name", 10_000, 300), ("address", 19, 0), ("address", 20, 1), ("address", 29, 512), ("address", 30, 900),
    ],
)  # fmt: skip
def test_the_wait_doubles_with_each_try_that_fails_up_to_its_longest(kind, count, seconds):
    assert wait_after(kind, count) == timedelta(seconds=seconds)
    assert wait_after(kind, 10**6) == LONGEST_WAIT[kind]


def test_of_many_tries_at_once_no_more_are_let_through_than_of_many_in_a_row(credentials):
    waits = []
    start = threading.Barrier(20)

    def attempt():
        start.wait()
        waits.append(credentials.begin_try("Tom", "192.0.2.1", NOW))

    threads = [threading.Thread(target=attempt) for _ in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sum(not wait for wait in waits) == FREE_TRIES["name"]


def test_a_name_is_one_however_its_letters_are_typed(credentials):
    for name in ("Tom", "TOM", "tom", "tOm"):
        credentials.begin_try(name, "192.0.2.1", NOW)
    assert credentials.begin_try("Tom", "192.0.2.1", NOW)


def test_after_the_wait_somebody_may_try_again_and_a_success_forgets_the_name_and_not_the_address(credentials):
    for number in range(FREE_TRIES["address"]):
        credentials.begin_try(f"name {number % 6}", "192.0.2.1", NOW)
    assert credentials.begin_try("Tom", "192.0.2.1", NOW) == SECOND
    assert not credentials.begin_try("Tom", "192.0.2.1", NOW + SECOND)
    credentials.end_try("Tom", "192.0.2.1")
    assert credentials.begin_try("Ed", "192.0.2.1", NOW + SECOND)
    assert not credentials.begin_try("Ed", "192.0.2.2", NOW + SECOND)


def test_a_challenge_is_answered_once_and_soon(credentials):
    credentials.set_challenge("secret", b"one", NOW)
    credentials.set_challenge("secret", b"two", NOW)
    assert credentials.take_challenge("secret", NOW + CHALLENGE_LASTS) == b"two"
    assert credentials.take_challenge("secret", NOW) is None
    credentials.set_challenge("secret", b"three", NOW)
    assert credentials.take_challenge("secret", NOW + CHALLENGE_LASTS + SECOND) is None


def test_a_passkey_is_its_persons_and_is_removed_by_them_alone(credentials):
    credentials.add_passkey(key())
    credentials.count_passkey(b"k", 7)
    credentials.remove_passkey("Ed", b"k", "")
    assert (credentials.passkey(b"k").person, credentials.passkey(b"k").uses) == ("Tom", 7)
    credentials.remove_passkey("Tom", b"k", "")
    assert credentials.passkey(b"k") is None


def test_a_passkey_that_is_removed_ends_every_session_but_that_of_whoever_did_it(credentials):
    """The device that it was on may be lost, and still be signed in."""
    credentials.add_passkey(key())
    for secret in ("own", "of the lost phone"):
        credentials.begin_session(secret, "Tom", NOW)
    credentials.remove_passkey("Tom", b"k", "own")
    assert credentials.signed_in("own", NOW) is not None
    assert credentials.signed_in("of the lost phone", NOW) is None


@pytest.mark.skipif(os.name != "posix", reason="a process is killed")
def test_what_was_begun_and_not_ended_leaves_nothing(credentials, tmp_path):
    """A process that dies within a transaction takes it back."""
    process = os.fork()
    if not process:
        with credentials._changed() as file:  # noqa: SLF001 (within it the process dies)
            file.execute("DELETE FROM enrolled")
            os._exit(0)
    os.waitpid(process, 0)
    assert Credentials(tmp_path / "credentials").enrolled("Tom") is not None
