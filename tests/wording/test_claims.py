"""What a text may claim: the rules bite on sentences that break them and on no others."""

import pytest

from motorlearn.wording import claim_problems, split_sentences

BROKEN = {
    "learning in practice": "Random practice led to more learning in the last block of practice.",
    "learned": "By week 4 the group had learned the task.",
    "no difference": "There was no difference between the groups at retention.",
    "no significant difference": "We found no significant difference at transfer.",
    "did not differ": "The groups did not differ at the retention test.",
    "no effect": "The schedule had no effect at retention.",
    "proof": "The retention test proves that random practice is better.",
    "p is zero": "At retention the difference was 2 cm, p = .000.",
    "p is 0.000": "At retention the difference was 2 cm, p = 0.000.",
    "nearly": "The difference at retention was nearly significant.",
}
KEPT = {
    "learning with its test": "At retention the pattern is what more learning would give.",
    "unclear": "The data are compatible with true differences from −1.0 to 3.0 cm at retention.",
    "small p": "At retention the difference was 2 cm, p < .001.",
    "provided": "Feedback was provided after every trial.",
    "approval": "The approval of the committee is on file.",
    "no change stated": "No change from a starting point can be stated.",
}


@pytest.mark.parametrize("text", BROKEN.values(), ids=BROKEN)
def test_a_claim_too_far_is_named(text):
    assert claim_problems(text, delayed_test=True) != []


@pytest.mark.parametrize("text", KEPT.values(), ids=KEPT)
def test_a_sound_sentence_passes(text):
    assert claim_problems(text, delayed_test=True) == []


def test_learning_needs_a_delayed_test_in_the_study_too():
    text = "At retention the pattern is what more learning would give."
    assert claim_problems(text, delayed_test=False) != []


def test_a_delayed_test_in_another_sentence_does_not_help():
    text = "There was a retention test. Practice showed fast learning."
    assert len(claim_problems(text, delayed_test=True)) == 1


def test_sentences_survive_decimals_and_statistics():
    text = "At retention, t(61.5) = −1.77, p = .082. The interval is wide.\nNext line"
    assert split_sentences(text) == [
        "At retention, t(61.5) = −1.77, p = .082.",
        "The interval is wide.",
        "Next line",
    ]


@pytest.mark.parametrize(
    "words", ["were equal", "were identical", "were the same", "had no effect"]
)
def test_an_unclear_result_is_not_called_an_absence_in_other_words(words):
    text = f"At retention the groups {words}."
    assert claim_problems(text, delayed_test=True) == [
        f"calls an unclear result an absence: {text}"
    ]
