"""The port tester over a real serial line: a verdict only from an answer that is whole and agrees with itself."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail_kit.clock import SimulatedClock
from wakerail_kit.conformance import CHECKS
from wakerail_kit.errors import ConfigInvalid, DeviceRefused, DeviceUnavailable, OutOfSync
from wakerail_kit.events import LineResult
from wakerail_kit.hooks import BuildContext
from wakerail_kit.kinds import PORT_TESTER
from wakerail_kit.yamldoc import parse_yaml
from wakerail_plugins import port_tester

CLEAN = ["VBUS OK 4.98V", "GND OK", "D+ OK", "D- OK", "CC1 OK 0.41V", "CC2 OK 0.41V", "RESULT PASS"]
DIRTY = ["VBUS OK 4.98V", "GND OK", "D+ OK", "D- FAIL open", "CC1 FAIL 0.11V leaks", "CC2 OK 0.41V", "RESULT FAIL"]
WHO = b"Tarnwick,PT-8,SN0077,2.0\r\n"


def as_bytes(lines) -> bytes:
    return "".join(f"{line}\r\n" for line in lines).encode()


class FarTester:
    """The far end; ``pieces`` is what it sends after TEST, each piece by itself."""

    def __init__(self, lines=CLEAN) -> None:
        self.pieces = [as_bytes(lines)]
        self.who = [WHO]
        self.asked: list[str] = []

    def __call__(self, question: bytes):
        self.asked.append(question.decode().removesuffix("\r\n"))
        return {"ID?": self.who, "TEST": self.pieces}.get(self.asked[-1], [b"ERR 1\r\n"])


@pytest.fixture
def tester():
    return FarTester()


@pytest.fixture
def far_end(tester, serve_serial):
    return serve_serial(tester)


@pytest.fixture
def clock():
    return SimulatedClock()


def build(text, dialects, clock=None):
    document = parse_yaml(text, "bench.yaml")
    (offered,) = port_tester.wakerail_instrument_types()
    assert (offered.name, offered.kind) == ("port-tester", PORT_TESTER)
    built = offered.build(document.top, BuildContext(clock or SimulatedClock(), "bench", "port", dialects, ()))
    document.finish()
    return built


@pytest.fixture
def driver(far_end, project, clock):
    built = build(f"address: {far_end.address}\ntimeout: 300 ms", project / "config" / "dialects", clock)
    yield built
    built.close()


def test_a_clean_port_passes_line_by_line(tester, driver):
    """Each line by its own name, with what was measured on it; the raw answer is kept."""
    identity = driver.open()
    assert (identity.maker, identity.model, identity.serial, identity.firmware) == ("Tarnwick", "PT-8", "SN0077", "2.0")
    found = driver.test_port()
    assert (found.instrument, found.passed) == ("port", True)
    assert [line.line for line in found.lines] == ["vbus", "ground", "d_plus", "d_minus", "cc1", "cc2"]
    assert found.lines[0] == LineResult(line="vbus", passed=True, value=4.98, unit="V")
    assert found.raw == "\n".join(CLEAN)


def test_a_dirty_port_fails_and_says_where(tester, driver):
    """What the tester says of a line goes with it, with or without a value."""
    tester.pieces = [as_bytes(DIRTY)]
    driver.open()
    found = driver.test_port()
    assert not found.passed
    assert [line for line in found.lines if not line.passed] == [
        LineResult(line="d_minus", passed=False, says="open"),
        LineResult(line="cc1", passed=False, says="leaks", value=0.11, unit="V"),
    ]


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ([*CLEAN[:-1], "RESULT FAIL"], "says that the port failed, and failing lines: none"),
        ([*DIRTY[:-1], "RESULT PASS"], "says that the port passed, and failing lines: d_minus, cc1"),
        (CLEAN[1:], "lacks VBUS"),
        (CLEAN[-1:], "lacks VBUS, GND"),
        ([CLEAN[0], *CLEAN], "'VBUS' twice"),
        (["SBU1 OK", *CLEAN], "a line 'SBU1'"),
        ([*CLEAN[:2], "D+ MAYBE", *CLEAN[3:]], "got 'D. MAYBE'"),
        ([*CLEAN[:-1], "RESULT NONE"], "got 'RESULT NONE'"),
        (["VBUS OK 4.98\x07V", *CLEAN[1:]], "garbled"),
        (CLEAN[:-1], "no answer within"),  # it stopped half way
    ],
)
def test_an_answer_that_is_no_whole_is_never_a_verdict(tester, driver, lines, says):
    """Contradicting itself, incomplete or garbled: the bench's fault, and the link is not used further."""
    tester.pieces = [as_bytes(lines)]
    driver.open()
    with pytest.raises(OutOfSync, match=says):
        driver.test_port()
    with pytest.raises((OutOfSync, DeviceUnavailable)):
        driver.test_port()
    tester.pieces = [as_bytes(CLEAN)]
    driver.open()
    assert driver.test_port().passed


def test_a_refusal_is_no_verdict_either(tester, driver):
    """``ERR n`` in place of the first line."""
    tester.pieces = [b"ERR 7\r\n"]
    driver.open()
    with pytest.raises(DeviceRefused, match="ERR 7"):
        driver.test_port()
    tester.pieces = [as_bytes(CLEAN)]
    assert driver.test_port().passed


@settings(max_examples=40, deadline=None)
@given(data=st.data(), dirty=st.booleans())
def test_any_chunking_gives_the_same_answer(data, dirty, serve_serial_for, tmp_path_factory, project):
    """However the line cuts the answer up, the same verdict comes out."""
    lines = DIRTY if dirty else CLEAN
    whole = as_bytes(lines)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(whole)), max_size=20)))
    far = FarTester()
    far.pieces = [whole[start:end] for start, end in zip([0, *cuts], [*cuts, len(whole)], strict=True) if end > start]
    with serve_serial_for(tmp_path_factory.mktemp("line") / "port", far) as far_end:
        driver = build(f"address: {far_end.address}", project / "config" / "dialects")
        driver.open()
        found = driver.test_port()
        driver.close()
    assert found.raw == "\n".join(lines)
    assert found.passed is not dirty


def test_polling_gives_nothing_and_asks_now_and_then(tester, driver, clock):
    """Every two seconds at most; a test counts as a sign of life."""
    driver.open()
    for _ in range(5):
        assert driver.read().signals == {}
    assert tester.asked == ["ID?"]
    clock.advance(2.0)
    driver.read()
    driver.read()
    assert tester.asked == ["ID?", "ID?"]
    clock.advance(2.0)
    driver.test_port()
    driver.read()
    assert tester.asked == ["ID?", "ID?", "TEST"]


def test_a_tester_that_falls_silent_is_noticed(tester, driver, clock):
    """By the next look, without anybody asking for a test."""
    driver.open()
    tester.who = []
    clock.advance(2.0)
    with pytest.raises(OutOfSync, match="no answer"):
        driver.read()


def test_another_tester_in_its_place_is_noticed(tester, driver, clock):
    """The one that was identified is not the one that answers."""
    driver.open()
    tester.who = [b"Tarnwick,PT-8,SN0078,2.0\r\n"]
    clock.advance(2.0)
    with pytest.raises(OutOfSync, match="another tester"):
        driver.read()


def test_unplugged_and_plugged_in_again(far_end, driver, clock):
    """The errors are ours; the same driver opens it again, and closing twice is nothing."""
    driver.open()
    far_end.unplug()
    clock.advance(2.0)
    with pytest.raises(DeviceUnavailable):
        driver.read()
    with pytest.raises(DeviceUnavailable):
        driver.open()
    far_end.plug()
    driver.open()
    assert driver.test_port().passed
    driver.make_safe()
    assert list(driver.faults()) == []
    driver.close()
    driver.close()


def test_opened_and_closed_many_times_leaks_nothing(driver):
    """File descriptors are given back."""
    psutil = pytest.importorskip("psutil")
    driver.open()
    driver.close()
    before = psutil.Process().num_fds()
    for _ in range(50):
        driver.open()
        driver.close()
    assert psutil.Process().num_fds() == before


BARE = """\
dialect: bare
kind: port-tester
link: {write-end: "\\r\\n", read-end: "\\r\\n"}
identify: {send: "ID?", answer: "{maker},{model},{serial},{firmware}"}
commands:
  test_port:
    send: TEST
    each: "{line} {passed|OK=1 FAIL=0}[ {resistance|kOhm}k]"
    answer: "RESULT {passed|PASS=1 FAIL=0}"
"""


def test_another_dialect_may_keep_its_own_words(tester, far_end, tmp_path):
    """Without ``lines`` any line will do, under the tester's own name; ohms are taken as well as volts."""
    (tmp_path / "bare.yaml").write_text(BARE)
    tester.pieces = [as_bytes(["shield OK 0.002k", "RESULT PASS"])]
    driver = build(f"address: {far_end.address}\ndialect: bare", tmp_path)
    driver.open()
    assert driver.test_port().lines == [LineResult(line="shield", passed=True, value=2.0, unit="Ohm")]
    tester.pieces = [as_bytes(["RESULT PASS"])]
    with pytest.raises(OutOfSync, match="lacks its lines"):
        driver.test_port()
    driver.close()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("timeout: 1 s", "bench.yaml:1: address: is missing"),
        ("address: x\ndialect: nothing", "bench.yaml:2: dialect: no dialect 'nothing' in "),
        (
            "address: x\ndialect: overall",
            "bench.yaml:2: dialect: the dialect 'overall' will not do: test_port must give",
        ),
    ],
)
def test_a_wrong_key_is_one_clear_line(tmp_path, text, says):
    """File, line, key and what would be right; a dialect without lines cannot say where a port fails."""
    (tmp_path / "overall.yaml").write_text(
        "dialect: overall\nkind: port-tester\n"
        'identify: {send: "ID?", answer: "{maker}"}\n'
        'commands: {test_port: {send: TEST, answer: "RESULT {passed|PASS=1 FAIL=0}"}}\n'
    )
    with pytest.raises(ConfigInvalid) as refused:
        build(text, tmp_path)
    assert refused.value.problems[0].startswith(says)


class SlowPolls(SimulatedClock):
    """A clock on which two seconds go by between any two looks, so that each poll asks for a sign of life."""

    def monotonic_s(self) -> float:
        self.advance(2.0)
        return super().monotonic_s()


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_every_promise_of_the_kind_is_kept(check, far_end, serial_rig, project):
    """The kit's own checks, over this line."""
    text = f"address: {far_end.address}\ntimeout: 300 ms"
    check(serial_rig(PORT_TESTER, far_end, lambda: build(text, project / "config" / "dialects", SlowPolls())))
