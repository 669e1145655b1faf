"""Who takes lines and leaves them takes none of the others', and none of the shop PC's."""

import contextlib
import socket
import sys

import pytest

from joblog.web import lines
from joblog.web.lines import Count, files, listening


@pytest.fixture
def call(monkeypatch):
    """A function that calls a listening socket; what it opened is closed at the end."""
    with contextlib.ExitStack() as opened:

        def made(count, own=frozenset()):
            monkeypatch.setattr(lines, "LOOPBACK", own)  # so that this PC counts as any device
            calls = opened.enter_context(contextlib.closing(listening("127.0.0.1", 0, count)))
            calls.listen()
            calls.settimeout(0.2)

            def one():
                caller = socket.create_connection(calls.getsockname()[:2], timeout=10)
                opened.enter_context(contextlib.closing(caller))
                try:
                    line = calls.accept()[0]
                except TimeoutError:
                    return caller, None
                return caller, opened.enter_context(contextlib.closing(line))

            return one

        yield made


def test_a_device_has_so_many_lines_and_gets_one_back_for_each_that_ends(call):
    one = call(Count(of_one=2, of_all=9))
    lasting, (_, second), (refused, third) = one(), one(), one()
    assert lasting[1] is not None
    assert second is not None
    assert third is None
    assert refused.recv(1) == b""  # closed, and nothing was said
    second.close()
    second.close()  # counted once
    assert one()[1] is not None
    assert one()[1] is None


def test_all_devices_together_leave_open_files_for_the_records(call):
    count = Count(of_one=9, of_all=3)
    assert [count.take(name) for name in ("a", "b", "c", "d")] == [True, True, True, False]
    count.give_back("b")
    assert call(count)()[1] is not None
    assert call(count)()[1] is None


def test_the_shop_pc_itself_is_always_let_through(call):
    one = call(Count(of_one=0, of_all=0), own=frozenset({"127.0.0.1"}))
    assert one()[1] is not None


@pytest.mark.parametrize("reuses", [True, False])
def test_a_port_is_shared_with_no_other_program(monkeypatch, reuses):
    """What lets it be used again at once on Linux lets two programs have it at once on Windows."""
    monkeypatch.setattr(lines, "REUSES", reuses)
    with contextlib.closing(listening("127.0.0.1", 0, Count(1, 1))) as calls:
        assert bool(calls.getsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR)) is reuses


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such limit")
def test_more_files_are_asked_for_where_the_system_gives_few(monkeypatch):
    import resource

    asked = []
    monkeypatch.setattr(resource, "setrlimit", lambda _, pair: asked.append(pair))
    for hard, wanted in ((resource.RLIM_INFINITY, 4096), (1000, 1000), (9000, 4096)):
        monkeypatch.setattr(resource, "getrlimit", lambda _, hard=hard: (256, hard))
        assert files() == wanted
        assert asked.pop() == (wanted, hard)
    monkeypatch.setattr(resource, "getrlimit", lambda _: (20_000, 20_000))
    assert files() == 4096
    assert not asked
