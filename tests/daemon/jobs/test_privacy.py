"""What looks like a passcode is refused and not repeated; what a bench writes every day is not."""

from __future__ import annotations

import re
import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.jobs.privacy import looks_like_passcode, refuse_passcodes
from wakerail_kit.errors import ConfigInvalid

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
]


@pytest.mark.parametrize("text", TOLD)
def test_a_passcode_in_words_of_any_sort_is_seen(text):
    assert looks_like_passcode(text)
    assert looks_like_passcode(f"Water damage at J4. {text}")


@pytest.mark.parametrize("text", HARMLESS)
def test_what_a_bench_writes_every_day_is_kept(text):
    assert not looks_like_passcode(text)


def test_the_refusal_names_the_field_and_does_not_repeat_it():
    with pytest.raises(ConfigInvalid) as refused:
        refuse_passcodes(symptom="restarts", words="the passcode is swordfish")
    (line,) = refused.value.problems
    assert line.startswith("words: it looks like a passcode")
    assert "swordfish" not in line


KEYWORDS = re.compile(r"pass|pin|puk|pw|code|lock|pattern|swipe|draw", re.IGNORECASE)


@settings(max_examples=60)
@given(st.text(max_size=80))
def test_a_text_without_a_word_for_a_secret_is_never_refused(text):
    plain = KEYWORDS.sub("", unicodedata.normalize("NFKC", text))
    assert KEYWORDS.search(plain) or not looks_like_passcode(plain)


@settings(max_examples=60)
@given(
    st.sampled_from(["passcode", "PIN", "Password", "unlock code", "unlock pattern", "lock screen code"]),
    st.sampled_from([" ", ": ", "=", " is ", " of the device: ", ' "']),
    st.from_regex(r"[0-9]{4,10}", fullmatch=True),
    st.sampled_from(["", ".", " said the customer", '"']),
)
def test_figures_after_a_word_for_a_secret_are_always_refused(word, link, figures, rest):
    assert looks_like_passcode(f"Restarts. {word}{link}{figures}{rest}")
