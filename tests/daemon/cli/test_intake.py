"""The questions of the intake: what is asked, what is asked again, and what is refused where nobody can be asked."""

from __future__ import annotations

import pytest

from wakerail.cli.intake import QUESTIONS, take_intake
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.job_requests import OpenJob

FAMILIES = ["brackwell-p2", "fenmoor-t3"]


class Person:
    """Answers in turn; keeps what was asked."""

    def __init__(self, *answers):
        self.answers = list(answers)
        self.asked = []

    def __call__(self, question):
        self.asked.append(question)
        return self.answers.pop(0)


def test_a_person_is_asked_one_question_after_another():
    person = Person("fenmoor-t3", "T-114", "SN 7", "restarts", "brine", "cracked", "the counts", "it fell in", "")
    assert take_intake({}, FAMILIES, "mara", person) == OpenJob(
        family="fenmoor-t3",
        ticket="T-114",
        serial="SN 7",
        symptom="restarts",
        exposure="brine",
        condition="cracked",
        keep="the counts",
        words="it fell in",
        operator="mara",
    )
    assert person.asked == [question.asks for question in QUESTIONS]


def test_what_was_given_is_not_asked_not_even_what_was_given_empty():
    given = {question.field: "" for question in QUESTIONS} | {"family": "fenmoor-t3", "symptom": None}
    person = Person(" does not start ")
    assert take_intake(given, FAMILIES, "mara", person).symptom == "does not start"
    assert len(person.asked) == 1


def test_the_only_family_need_not_be_typed():
    person = Person("", *[""] * 2, "restarts", *[""] * 5)
    assert take_intake({}, ["fenmoor-t3"], "mara", person).family == "fenmoor-t3"
    assert person.asked[0].endswith("(Enter: fenmoor-t3)")


@pytest.mark.parametrize(
    ("field", "wrong", "says"),
    [
        ("family", "fenmor-t3", "did you mean 'fenmoor-t3'?"),
        ("ticket", "T 114", "write it like 'T-114'"),
        ("symptom", "", "must be answered"),
        ("words", "the passcode is swordfish", "it looks like a passcode"),
    ],
)
def test_a_wrong_answer_is_asked_again_and_a_wrong_option_refused(field, wrong, says):
    right = {question.field: "" for question in QUESTIONS} | {"family": "fenmoor-t3", "symptom": "restarts"}
    answer = right[field] or "T-1"
    person = Person(wrong, answer)
    assert getattr(take_intake(right | {field: None}, FAMILIES, "mara", person), field) == answer
    assert says in person.asked[1]
    assert "swordfish" not in person.asked[1]
    with pytest.raises(ConfigInvalid, match=f"^--{field}: ") as refused:
        take_intake(right | {field: wrong}, FAMILIES, "mara", None)
    assert says in str(refused.value)


def test_where_nobody_can_be_asked_what_is_needed_must_be_given():
    with pytest.raises(ConfigInvalid, match=r"^--symptom: must be answered$"):
        take_intake({"family": "fenmoor-t3"}, FAMILIES, "mara", None)
