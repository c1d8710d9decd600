"""Scores, evidence and replies of a listening test, each by itself."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from stagefx.blind.codes import Answer, Reply, like_a_code
from stagefx.blind.keys import SealedKey
from stagefx.blind.listeners import Controls, controls_of, listener_of
from stagefx.blind.pack.equal import changed_plainly
from stagefx.blind.protocol import find_protocol
from stagefx.blind.replies import sort_replies
from stagefx.blind.result import out_of_a_thousand
from stagefx.blind.scoring import score
from stagefx.blind.statistics.binomial import MOST_TRIALS, check_score, lower_limit, upper_limit
from stagefx.blind.statistics.e_value import e_values
from stagefx.blind.statistics.pooling import p_over_listeners
from stagefx.blind.statistics.preference import p_all_alike
from stagefx.blind.statistics.sensitivity import listener_d_prime, share_right
from stagefx.errors import BlindError
from stagefx.report.plots.hearing.blind import evidence_claim

PACK = "0" * 16
KEY = SealedKey(PACK, "abx", ("01",), ("main",), "0" * 32)


def reply_of(right: int, trials: int, *, pack: str = PACK, listener: str = "Ada") -> Reply:
    answers = tuple(Answer(0, 1, (1 if n < right else 0,)) for n in range(trials))
    return Reply(pack, listener, "0" * 16, answers)


@pytest.mark.parametrize(("correct", "trials"), [(5, 4), (-1, 4), (0, -1), (1, MOST_TRIALS + 1)])
def test_a_score_outside_the_trials_is_refused(correct: int, trials: int) -> None:
    with pytest.raises(BlindError, match=f"{correct} right of {trials} is no score"):
        check_score(correct, trials)


def test_a_score_of_no_trials_is_one_until_a_trial_is_wanted() -> None:
    check_score(0, 0)
    check_score(4, 4)
    with pytest.raises(BlindError, match="give from 1 to"):
        check_score(0, 0, least=1)


@pytest.mark.parametrize("trials", [1, 10, 50])
def test_all_right_leaves_a_least_share_of_the_root_of_the_risk(trials: int) -> None:
    """p^n = 0.05."""
    assert lower_limit(trials, trials) == pytest.approx(0.05 ** (1.0 / trials), rel=1e-9)


def test_limits_mirror_each_other_and_none_right_leaves_no_least_share() -> None:
    assert lower_limit(0, 20) == 0.0
    assert lower_limit(13, 20) == pytest.approx(1.0 - upper_limit(7, 20), rel=1e-12)


@pytest.mark.parametrize("chance", [0.5, 1.0 / 3.0])
def test_the_evidence_is_the_likelihood_ratio_averaged_over_all_better_shares(
    chance: float,
) -> None:
    right = np.array([True, True, False, True])
    counts = np.cumsum(right)
    for n, found in enumerate(e_values(right, chance), 1):
        k = int(counts[n - 1])
        mean, _ = integrate.quad(
            lambda p, k=k, n=n: (p / chance) ** k * ((1.0 - p) / (1.0 - chance)) ** (n - k),
            chance,
            1.0,
        )
        assert found == pytest.approx(mean / (1.0 - chance), rel=1e-9)


def test_two_versions_chosen_unevenly_by_the_likelihood_ratio_test() -> None:
    """G = 2 (30 ln 30/20 + 10 ln 10/20) has one degree of freedom."""
    g = 2.0 * (30.0 * np.log(1.5) + 10.0 * np.log(0.5))
    found = p_all_alike(np.array([[0, 10], [30, 0]]))
    assert found == pytest.approx(float(stats.chi2.sf(g, 1)), rel=1e-4)


def test_versions_chosen_evenly_may_well_be_liked_alike() -> None:
    even = np.array([[0, 5, 5], [5, 0, 5], [5, 5, 0]])
    assert p_all_alike(even) == pytest.approx(1.0, abs=1e-6)


def test_listeners_taken_as_one_each_are_students_test_of_their_shares() -> None:
    scores = [(12, 16), (10, 16), (9, 16), (11, 16)]
    expected = stats.ttest_1samp([c / n for c, n in scores], 0.5, alternative="greater")
    assert p_over_listeners(scores, 0.5) == pytest.approx(float(expected.pvalue), rel=1e-9)


@pytest.mark.parametrize("scores", [[], [(12, 16)], [(12, 16)] * 5])
def test_too_few_listeners_or_all_alike_tell_nothing_of_others(
    scores: list[tuple[int, int]],
) -> None:
    assert p_over_listeners(scores, 0.5) is None


@pytest.mark.parametrize(("protocol", "correct"), [("abx", 14), ("triangle", 14), ("triple", 15)])
def test_a_listener_s_distance_gives_back_the_share_that_was_right(
    protocol: str, correct: int
) -> None:
    told = find_protocol(protocol)
    found = listener_d_prime(told, correct, 20)
    assert found is not None
    assert share_right(found, told.model) == pytest.approx(correct / 20.0, abs=1e-6)


@pytest.mark.parametrize("protocol", ["same-different", "preference"])
def test_where_right_answers_alone_tell_no_distance_none_is_given(protocol: str) -> None:
    assert listener_d_prime(find_protocol(protocol), 14, 20) is None


def test_a_listener_is_counted_by_the_key() -> None:
    """E78: 12 of 16 is p = 0.0384."""
    found = listener_of(reply_of(12, 16), KEY)
    assert (found.name, found.correct, found.trials) == ("Ada", 12, 16)
    assert found.p == pytest.approx(0.0384064, abs=1e-7)
    assert sum(found.outcomes) == 12


def test_a_reply_of_no_trials_is_no_score() -> None:
    with pytest.raises(BlindError, match="no trial but controls"):
        listener_of(reply_of(0, 0), KEY)


def test_controls_are_added_up_and_none_at_all_neither_pass_nor_fail() -> None:
    both = controls_of([Controls(5, 5, 0.5), Controls(4, 5, 0.5)])
    assert (both.correct, both.trials, both.passed) == (9, 10, True)
    assert controls_of([Controls(2, 5, 0.5), Controls(3, 5, 0.5)]).passed is False
    assert controls_of([]).passed is None


def test_only_a_listener_s_first_reply_to_this_pack_counts() -> None:
    told = sort_replies(
        [
            ("line 1", reply_of(12, 16)),
            ("line 2", reply_of(12, 16)),
            ("line 3", reply_of(9, 16, listener=" ada ")),
            ("line 4", reply_of(9, 16, pack="1" * 16, listener="Bo")),
            ("line 5", reply_of(9, 16, listener="Cy")),
        ],
        KEY,
    )
    assert [reply.listener for reply in told.counted] == ["Ada", "Cy"]
    assert [(aside.where, aside.why) for aside in told.set_aside] == [
        ("line 2", "a duplicate"),
        ("line 3", "not this listener's first"),
        ("line 4", "another pack's"),
    ]


def test_what_was_not_there_at_the_first_scoring_pushes_nobody_out() -> None:
    early, late = reply_of(12, 16), reply_of(9, 16)
    told = sort_replies([("new", late), ("old", early)], KEY, seen=frozenset({early.fingerprint}))
    assert told.counted == (early,)
    assert not told.late
    again = reply_of(9, 16, listener="Bo")
    told = sort_replies([("new", again), ("old", early)], KEY, seen=frozenset({early.fingerprint}))
    assert told.late == (again,)


@pytest.mark.parametrize(
    ("text", "code"),
    [("What a nice film!", False), ("AEAA-" * 12, True), ("aeaa " * 12, True), ("", False)],
)
def test_a_code_is_told_from_what_people_write(text: str, code: bool) -> None:
    assert like_a_code(text) is code


@pytest.mark.parametrize(
    ("p", "words"),
    [(0.0384, "in 38 of"), (0.5, "in 500 of"), (0.0006, "in 1 of"), (2e-5, "in fewer than 1 of")],
)
def test_chances_are_told_as_people_count(p: float, words: str) -> None:
    assert out_of_a_thousand(p) == f"{words} 1000 such tests"


def test_the_control_has_its_treble_cut_and_its_bass_left() -> None:
    time_s = np.arange(48000) / 48000

    def gain_db(hz: float) -> float:
        tone = np.sin(2.0 * np.pi * hz * time_s)[:, None]
        return float(20.0 * np.log10(np.std(changed_plainly(tone, 48000, 6.0)) / np.std(tone)))

    assert gain_db(100.0) == pytest.approx(0.0, abs=0.01)
    assert -6.0 < gain_db(12e3) < gain_db(4e3) < gain_db(1e3) < 0.0
    # half way between nothing and the whole cut at the corner: (1 + 0.501) / 2
    assert gain_db(4e3) == pytest.approx(20.0 * np.log10(0.5 + 0.5 * 10.0**-0.3), abs=0.01)


def test_a_picture_s_claim_counts_the_answers_there_are() -> None:
    assert evidence_claim(score(KEY, [])) == "Nobody has replied yet"
    few = evidence_claim(score(KEY, [("a", reply_of(3, 4))]))
    assert few.startswith("The evidence for hearing stands at")
    assert few.endswith("after 4 answers")
    many = evidence_claim(score(KEY, [("a", reply_of(16, 16))]))
    assert "reached" in many
