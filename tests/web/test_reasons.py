"""A finding is confirmed with a reason: typed in any words, spoken only as one of a few."""

import pytest

from joblog.job.meaning import meaning_of

OWN = "the washer was missing"


def say(client, job, text):
    return client.post(f"/api/jobs/{job}/say", json={"text": text, "by": "Imani Okafor"}).json()


def reasons(client, job):
    entries = client.app.state.shop.session(job).state.entries
    return [entry.body["reason"] for entry in entries if entry.kind == "confirmed"]


@pytest.mark.parametrize(
    ("typed", "reason"),
    [
        ("confirm because the washer was missing", OWN),
        ("Confirm, because the washer was missing", OWN),
        ("confirm it anyway because No washer, EX-18, came.", "No washer, EX-18, came."),
        ("confirm: the washer was missing", OWN),
        ("confirm with the reason the washer was missing", OWN),
        ("confirm because checked twice by Lee", "checked twice by Lee"),
        ("confirm because checked twice", "it was checked twice"),
    ],
)  # fmt: skip
def test_a_typed_reason_is_kept_in_its_own_words(client, job, typed, reason):
    first = say(client, job, "drain plug out")
    how = "Say “confirm because” and the reason, for the first of these, or “disregard”."
    assert first["shown"].endswith(how)
    assert first["spoken"].endswith("Say confirm because, and the reason, or disregard.")
    assert "text" not in {key for piece in first["pieces"] for key in piece}  # all has clips
    assert reason in say(client, job, typed)["shown"]
    assert set(reasons(client, job)) == {reason}


@pytest.mark.parametrize(
    "typed", ["confirm", "confirm with a reason", "confirm because", "confirm the washer"]
)
def test_without_a_reason_it_is_asked_for_and_none_is_put_in_anybodys_mouth(client, job, typed):
    say(client, job, "drain plug out")
    answer = say(client, job, typed)
    assert answer["spoken"] == "Say confirm because, and the reason."
    assert "Did you mean" not in answer["shown"]
    assert "Typed, any words are a reason." in answer["shown"]
    assert reasons(client, job) == []


def test_own_words_are_no_phrase_that_can_be_heard(client, job):
    sheet = client.app.state.shop.session(job).sheet
    assert meaning_of("confirm because the washer was missing", sheet) is None
    assert meaning_of("confirm with a reason checked twice", sheet).reason == "checked-twice"


def test_a_screen_is_told_what_may_be_confirmed_only_where_it_was_named(client, job):
    def settle():
        return client.get(f"/api/jobs/{job}").json()["settle"]

    assert settle() is None
    say(client, job, "drain plug out")
    assert "must come first" in settle()["about"]
    assert "It was checked twice" in settle()["reasons"]
    say(client, job, "fluid temperature 900 celsius")  # a question: that is answered first
    assert settle() is None
    say(client, job, "negative")
    assert settle() is None
