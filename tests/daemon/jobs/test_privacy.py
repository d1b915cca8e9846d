"""What looks like a passcode is refused and not repeated; what a bench writes every day is not."""

from __future__ import annotations

import re
import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.jobs.privacy import looks_like_passcode, refuse_passcodes
from wakerail.serve.admission import MAX_TEXTS, admitted
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.job_requests import MAX_TEXT, KeepFile, OpenJob
from wakerail_kit.messages import AbortRun, AnswerPrompt, CoolRun, MakeSafe, ResetInterlock, RunSequence
from wakerail_kit.plan_requests import PlanObserve, PlanWhatIf

TOLD = [
    "code: 4711",
    "Comes back Friday. Code 4711",
    "unlock 4711",
    "screen lock 4711",
    "lock screen: 1-2-5-8",
    "PUK 12345678",
    "PIN number 4711",
    "pwd: tango",
    "unlock pattern goes from top left to bottom right",
    "pattern top left, middle, bottom right",
    "pattern: bottom left first",
    "passcode 4711",
    "Passcode: 4711",
    "passcode is swordfish",
    "the password is Hunter2!",
    "password hunter2",
    "password=hunter2",
    "pass code 12 34 56",
    "PIN 4711",
    "PIN: 4711",
    "pin is 1234",
    "Pin code 1234",
    "pin 1-2-3-4",
    "unlock code 0000",
    "unlock code: L",
    "unlock pattern L",
    "unlock pattern: top left to bottom right",
    "pattern: 1-2-5-8",
    "pattern is Z",
    "pattern: L-shape",
    "lock screen code 998877",
    "screen lock code is 1234",
    "unlocks with 4711",
    "unlock it with 4711",
    "unlock: 4711",
    "4711 is the PIN",
    "1234 (passcode)",
    "pw: abc",
    'Passcode "tango"',
    "passcode -> 4711",
    "PIN four seven one one",
    "passcode４７１１",
    "the code is 4711",
    "PIN of the device: 4711",
    "passcode of her phone is 4711",
    "SIM PIN 4711",
    "PIN: 12 34",
    "pin4711",
    "passcode of the device is swordfish",
    "passcode_4711.jpg",
    "pin-4711.jpg",
    "unlock_code_0000.png",
    "20261127 is the PIN",
    "4711 unlocks it",
    "1234 opens the phone",
    "enter 4711 to get in",
    "log in with 471147",
    "credentials: anna/tango",
    "Passwort: Schwertfisch",
    "Passwort ist 4711",
    "Das Kennwort lautet tango7",
    "Sperrcode 4711",
    "Entsperrmuster: 1-2-5-8",
    "mot de passe : espadon",
    "le code de déverrouillage est 4711",
    "contraseña: pezespada",
    "código de desbloqueo 4711",
    "senha: 4711",
    "codice di sblocco 4711",
    "wachtwoord is 4711x",
    "hasło: miecznik",
    "lösenord: svärdfisk",
    "şifre 471100",
    "пароль: рыба",
    "密码：4711",
    "パスワードは tango",
    "비밀번호: 4711",
]

HARMLESS = [
    "pin number 12 is shorted to ground",
    "pin no. 3 lifted",
    "date code 2143 on the chip",
    "error code: 4711",
    "corrosion pattern lower left of the board",
    "boot pattern left unchanged",
    "display test pattern shown on the screen",
    "pw rail is low",
    "PW_ON stays at 0 V",
    "lock key of the keypad sticks",
    "lock pin of the cover broken",
    "device code on the label is FT3-2231",
    "unlocked 2 screws of 12",
    "screen lock comes up after 12 s",
    "pin 3 of the connector is corroded",
    "pin 12 shorted to ground",
    "pins 1 2 3 4 bridged",
    "PIN 1: 3.3 V",
    "restart pattern: every 3 s",
    "pattern of restarts is regular",
    "password protected",
    "password not known",
    "customer keeps the passcode",
    "the passcode is with the customer",
    "the PIN is not known to us",
    "passcode unknown",
    "needs password",
    "the customer will unlock it",
    "unlocked the flex cable with tweezers",
    "lock screen comes up",
    "asks for the passcode, then restarts",
    "Passcode is required after 5 restarts",
    "restarts at the password prompt",
    "unlock code: none",
    "error code 1234",
    "replaced pin header",
    "pattern: corrosion around the port",
    "password: unknown",
    "PIN entry works",
    "it restarts every 3200 ms",
    "bypass password reset",
    "serial 4711-8820-1133",
    "unlock pattern not told",
    "display pattern test passed",
    "pin 24 25 26 corroded",
    "PIN entry 3 times wrong",
    "the passcode of the device is not known",
    "pin 7 of J3 is 4.35 V",
    "pin 2 to ground: 1200 Ohm",
    "pin 4 measures 3850 mV",
    "password for the scanner is unknown",
    "IMG-20261127-pin.jpg",
    "20261127_pin_header.jpg",
    "board_4711_rev2.jpg",
    "replaced by type 1206",
    "fuse 0402 opens when warm",
    "Passwort unbekannt",
    "Passwort: unbekannt",
    "mot de passe oublié",
    "contraseña desconocida",
    "login works again",
    "credentials are with the customer",
    "muster test 4711",
    "enter 3850 mV",
    "lock screen, 14:05:33, 3.85 V",
    "parola on the label",
]


@pytest.mark.parametrize("text", TOLD)
def test_a_passcode_in_words_of_any_sort_is_seen(text):
    assert looks_like_passcode(text)
    assert looks_like_passcode(f"Water damage at J4. {text}")


@pytest.mark.parametrize("text", HARMLESS)
def test_what_a_bench_writes_every_day_is_kept(text):
    assert not looks_like_passcode(text)


@pytest.mark.parametrize("blank", [" ", "_", "\t", "\u3000"])
@pytest.mark.parametrize("word", ["heslo", "1234", "passcode for", "unlock", "pin", "pattern"])
def test_a_run_of_blanks_is_looked_through_soon(word, blank):
    """It was shared out among the patterns in every possible way: 50 blanks took seconds, 1000 for ever."""
    assert not looks_like_passcode(f"{word}{blank * 4000}?")
    assert looks_like_passcode(f"heslo{blank * 4000}4711")


def test_the_refusal_names_the_field_and_does_not_repeat_it():
    with pytest.raises(ConfigInvalid) as refused:
        refuse_passcodes(symptom="restarts", words="the passcode is swordfish")
    (line,) = refused.value.problems
    assert line.startswith("words: it looks like a passcode")
    assert "swordfish" not in line


KEYWORDS = re.compile(
    r"pass|pin|puk|pw|code|kod|lock|pattern|swipe|draw|cred|enter|key|log|get|open|wort|sperr|zahl|wacht|ord|mot|sch|contra"
    r"|c[oó]d|patr|padr|senh|parol|has|hes|jel|loz|ges|[sş]if|sala|[^\x00-\u024f]",
    re.IGNORECASE,
)
WHERE = st.sampled_from(
    ["pin 3 of J4", "pins 4711 and 12", "TP12", "the port", "connector 2231", "U1402", "pin 24, 25 and 26"]
)
WHAT = st.sampled_from(
    [
        "measures",
        "was",
        "draws",
        "leaks to ground,",
        "corroded; cleaned, then",
        "bridged, after heat",
        "at rest",
        "pattern:",
    ]
)
HOW_MUCH = st.builds(
    "{:g} {}".format, st.floats(0.001, 99999).map(lambda value: float(f"{value:.4g}")),
    st.sampled_from(["mV", "V", "mA", "A", "Ohm", "kOhm", "s", "ms", "°C", "min"]),
)  # fmt: skip
PARTS = st.sampled_from(
    [
        "display flex",
        "scanner 1502",
        "keypad",
        "pin header",
        "screen lock key",
        "code reader",
        "battery 38-4411-02",
        "unlock lever",
    ]
)
DONE = st.sampled_from(
    ["unplugged", "replaced", "reseated", "swapped for another", "cleaned", "removed", "tested: passed"]
)
TIMES = st.sampled_from(
    ["", " at 14:05", " on 2026-11-27", " (3 of 12 boots)", ", photo 20261127_140533.jpg", ", see run 0b2f-4711"]
)
NOTES = st.one_of(
    st.builds("{} {} {}{}.".format, WHERE, WHAT, HOW_MUCH, TIMES),
    st.builds("{} {}{}; boots {} later.".format, PARTS, DONE, TIMES, HOW_MUCH),
    st.builds("Restarts every {}, {} {}{}".format, HOW_MUCH, PARTS, DONE, TIMES),
)


@settings(max_examples=150)
@given(st.lists(NOTES, min_size=1, max_size=3).map(" ".join))
def test_an_ordinary_note_is_not_refused(note):
    assert not looks_like_passcode(note)


@settings(max_examples=60)
@given(st.text(max_size=80))
def test_a_text_without_a_word_for_a_secret_is_never_refused(text):
    plain = KEYWORDS.sub("", unicodedata.normalize("NFKC", text))
    assert KEYWORDS.search(plain) or not looks_like_passcode(plain)


def test_every_text_of_a_request_is_looked_at_and_what_ends_something_is_not_refused():
    secret = "the PIN is 4711"
    for request in (
        RunSequence(sequence="rail-check", inputs={"rail": secret}),
        RunSequence(sequence="rail-check", inputs={secret: "x"}),
        RunSequence(sequence="rail-check", operator=secret),
        PlanObserve(job="t-1", said=secret),
        PlanObserve(job="t-1", run="r", done=["scanner", secret]),
        PlanWhatIf(job="t-1", seen=[secret]),
        KeepFile(job="t-1", name="pin_4711.jpg", media_type="image/jpeg", content=b"x"),
        AnswerPrompt(run="r", prompt="p", choice=secret),
        ResetInterlock(instrument="plate", operator=secret),
        {"job": "t-1", "unknown": [{"deep": secret}]},
        {secret: 1},
    ):
        with pytest.raises(ConfigInvalid) as refused:
            admitted(request)
        assert "4711" not in str(refused.value)
        assert "it looks like a passcode" in str(refused.value)
    assert admitted(AbortRun(run="r-1", why=secret)) == AbortRun(run="r-1")
    assert admitted(CoolRun(run="r-1", operator=secret)) == CoolRun(run="r-1")
    assert admitted(MakeSafe(why=secret)) == MakeSafe()
    photo = KeepFile(job="t-1", name="port.jpg", media_type="image/jpeg", content=b"passcode 4711")
    assert admitted(photo) is photo


def test_texts_without_end_are_refused_unread_and_what_ends_something_is_not():
    """They would hold up the daemon for as long as it looks through them."""
    endless = "a word " * MAX_TEXTS
    for request in (
        ResetInterlock(instrument="plate", operator=endless),
        RunSequence(sequence="rail-check", inputs={endless: "x"}),
        PlanWhatIf(job="t-1", seen=["ab"] * MAX_TEXTS),
        PlanWhatIf(job="t-1", seen=[""] * (MAX_TEXTS + 1)),
    ):
        with pytest.raises(ConfigInvalid, match=rf"^the request's texts have \d+ characters .* at most {MAX_TEXTS} "):
            admitted(request)
    assert admitted(AbortRun(run="r-1", why=endless)) == AbortRun(run="r-1")
    assert admitted(MakeSafe(why=endless)) == MakeSafe()
    photo = KeepFile(job="t-1", name="port.jpg", media_type="image/jpeg", content=b"x" * (MAX_TEXTS + 1))
    assert admitted(photo) is photo


def test_an_intake_with_every_answer_as_long_as_may_be_is_taken():
    asked = ("symptom", "serial", "exposure", "condition", "keep", "customer", "words")
    opened = OpenJob(family="fenmoor-t3", ticket="T-1", operator="Ilse", **dict.fromkeys(asked, "x" * MAX_TEXT))
    assert admitted(opened) is opened


@settings(max_examples=60)
@given(
    st.sampled_from(["passcode", "PIN", "Password", "unlock code", "unlock pattern", "lock screen code"]),
    st.sampled_from([" ", ": ", "=", " is ", " of the device: ", ' "']),
    st.from_regex(r"[0-9]{4,10}", fullmatch=True),
    st.sampled_from(["", ".", " said the customer", '"']),
)
def test_figures_after_a_word_for_a_secret_are_always_refused(word, link, figures, rest):
    assert looks_like_passcode(f"Restarts. {word}{link}{figures}{rest}")
