"""`stagefx blind plan` and `stagefx blind score`."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path

import numpy as np
import pytest

from stagefx.blind.codes import encode_reply
from stagefx.blind.keys import SealedKey, draw_key, save_key
from stagefx.blind.simulation import SimulatedListener, simulate_reply
from tests.cli.running import complaint, loaded_modules, one_object, run, run_here


def pasted(folder: Path, rates: tuple[float, ...], *, protocol: str = "abx") -> SealedKey:
    """A key, and one code a line of a listener for each hit rate."""
    rng = np.random.default_rng(5)
    key = draw_key(protocol, ("main", "control"), trials=16, control_trials=5)
    save_key(key, folder / "key.json")
    replies = [
        simulate_reply(
            SimulatedListener(rate, bias=0.3), key, rng, trials=16, control_trials=5, name=f"L{n}"
        )
        for n, rate in enumerate(rates)
    ]
    codes = "\n".join(encode_reply(reply) for reply in replies)
    (folder / "codes.txt").write_text(codes, encoding="utf-8")
    return key


def test_a_plan_for_people() -> None:
    done = run_here("blind", "plan")
    assert done.returncode == 0
    assert "37 trials, 24 right answers to pass" in done.stdout
    assert "80.7 %" in done.stdout


def test_a_plan_for_programs() -> None:
    found = one_object(run_here("blind", "plan", "--trials", "16", "--json").stdout)
    assert set(found) == {
        "protocol", "chance", "trials", "pass_mark", "false_pass_chance", "power", "able", "missed",
    }  # fmt: skip
    assert (found["pass_mark"], round(found["false_pass_chance"], 5)) == (12, 0.03841)


def test_a_plan_simulated() -> None:
    found = one_object(
        run_here("blind", "plan", "--protocol", "triangle", "--simulate", "--json").stdout
    )
    passed = found["simulation"]["passed_by_able"]
    assert passed == pytest.approx(found["power"], abs=4.0 * np.sqrt(0.16 / 1000))
    assert found["simulation"]["passed_by_guessers"] <= 0.07


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--able", "0.5"], "no better than chance"),
        (["--able", "0.5001"], "more than 20000"),
        (["--protocol", "duo"], "duo"),
        (["--trials", "0"], "0"),
    ],
)
def test_a_plan_out_of_reason(arguments: list[str], says: str) -> None:
    assert says in complaint(run_here("blind", "plan", *arguments))


def test_a_plan_starts_at_once(tmp_path: Path) -> None:
    heavy = {"numba", "scipy.signal", "scipy.stats", "librosa", "matplotlib"}
    assert not heavy & loaded_modules("blind", "plan", cwd=tmp_path)


def test_a_difference_that_was_heard(tmp_path: Path) -> None:
    pasted(tmp_path, (0.9, 0.8, 0.85))
    done = run_here("blind", "score", "key.json", "codes.txt", cwd=tmp_path)
    assert done.stdout.startswith("Heard blind: 3 listeners gave")


def test_the_contract_of_a_score(tmp_path: Path) -> None:
    pasted(tmp_path, (0.5, 0.5, 0.5))
    found = one_object(
        run_here("blind", "score", "key.json", "codes.txt", "--json", cwd=tmp_path).stdout
    )
    assert {
        "commitment_holds",
        "controls_passed",
        "listeners",
        "pooled",
        "e_value",
        "sentence",
    } <= {*found}
    assert {
        "name", "correct", "trials", "p", "p_holm", "interval", "d_prime", "d_prime_model",
    } <= {*found["listeners"][0]}  # fmt: skip
    assert {"correct", "trials", "p", "interval", "share_who_hear"} <= {*found["pooled"]}
    assert found["controls_passed"] is True
    assert "ruled out" in found["sentence"]
    assert "inaudible" not in found["sentence"]


def test_anybody_can_check_the_commitment(tmp_path: Path) -> None:
    key = pasted(tmp_path, (0.7,))
    done = run("blind", "score", "key.json", "codes.txt", cwd=tmp_path)
    (line,) = re.findall(r"printf '%s' '(.*)' \| sha256sum", done.stdout)
    assert hashlib.sha256(line.encode()).hexdigest() == key.commitment
    assert key.commitment in done.stdout


def test_a_key_that_was_changed_scores_nothing(tmp_path: Path) -> None:
    pasted(tmp_path, (0.9,))
    kept = json.loads((tmp_path / "key.json").read_text(encoding="utf-8"))
    kept["key"][0] = kept["key"][0][::-1]
    (tmp_path / "key.json").write_text(json.dumps(kept), encoding="utf-8")
    said = complaint(run_here("blind", "score", "key.json", "codes.txt", cwd=tmp_path))
    assert "DOES NOT FIT ITS COMMITMENT" in said
    assert not (tmp_path / "key.json.seen.json").exists()


def test_replies_after_the_first_scoring_are_counted_apart(tmp_path: Path) -> None:
    key = pasted(tmp_path, (0.5, 0.5))
    first = one_object(
        run_here("blind", "score", "key.json", "codes.txt", "--json", cwd=tmp_path).stdout
    )
    rng = np.random.default_rng(9)
    late = simulate_reply(SimulatedListener(1.0), key, rng, trials=16, control_trials=5, name="Z")
    codes = (tmp_path / "codes.txt").read_text(encoding="utf-8")
    (tmp_path / "codes.txt").write_text(f"{encode_reply(late)}\n{codes}", encoding="utf-8")
    again = one_object(
        run_here("blind", "score", "key.json", "codes.txt", "--json", cwd=tmp_path).stdout
    )
    assert again["pooled"] == first["pooled"]
    assert [one["name"] for one in again["late"]] == ["Z"]
    assert "counted apart" in again["sentence"]


def test_a_comment_section(tmp_path: Path) -> None:
    """Duplicates, altered codes, other packs', second tries and chatter are told apart."""
    key = pasted(tmp_path, (0.5, 0.5))
    mine = (tmp_path / "codes.txt").read_text(encoding="utf-8").splitlines()
    rng = np.random.default_rng(9)
    other = draw_key("abx", ("main", "control"))
    again, foreign, cut_short = (
        simulate_reply(SimulatedListener(0.5), k, rng, trials=n, control_trials=5, name=name)
        for k, n, name in ((key, 16, "l0 "), (other, 16, "Eve"), (key, 3, "Bob"))
    )
    more = [mine[0].lower().replace("-", " "), f"{mine[1][:-2]}QQ", "Nice film!"]
    more += [encode_reply(reply) for reply in (again, foreign, cut_short)]
    (tmp_path / "codes.txt").write_text("\n".join([*mine, *more]), encoding="utf-8")
    found = one_object(
        run_here("blind", "score", "key.json", "codes.txt", "--json", cwd=tmp_path).stdout
    )
    assert sorted(reply["why"] for reply in found["set_aside"]) == sorted(
        ["a duplicate", "altered", "not a code", "not this listener's first", "another pack's",
         "not whole"]
    )  # fmt: skip
    assert found["pooled"]["trials"] == 32


def test_a_missed_control_voids_a_null(tmp_path: Path) -> None:
    key = pasted(tmp_path, ())
    rng = np.random.default_rng(3)
    deaf = SimulatedListener(0.5, control_hit_rate=0.5)
    codes = [
        encode_reply(simulate_reply(deaf, key, rng, trials=16, control_trials=5, name=f"L{n}"))
        for n in range(3)
    ]
    (tmp_path / "codes.txt").write_text("\n".join(codes), encoding="utf-8")
    done = run_here("blind", "score", "key.json", "codes.txt", cwd=tmp_path)
    assert "says nothing of the difference" in " ".join(done.stdout.split())


def test_the_picture_of_the_evidence(tmp_path: Path) -> None:
    pasted(tmp_path, (0.9, 0.9))
    done = run_here("blind", "score", "key.json", "codes.txt", "--plot", "e.svg", cwd=tmp_path)
    assert done.returncode == 0
    assert "The evidence for hearing reached 20" in (tmp_path / "e.svg").read_text(encoding="utf-8")


@pytest.mark.parametrize("what", ["absent.txt", "key.json"])
def test_no_replies_to_read(tmp_path: Path, what: str) -> None:
    pasted(tmp_path, (0.5,))
    assert what in complaint(run_here("blind", "score", "key.json", what, cwd=tmp_path))
