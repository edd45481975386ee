"""Jobs drawn from the reader's own tables: no key is left out, and what is built passes its own check."""

import tomllib

import pytest

from pathgen.parts.keys import holding, key
from tests.key_jobs import ROWS, VALUES, grown_job, key_job, rule_of
from tests.random_jobs import COARSE, ending

QUICK = (81, 144, 297, 378, 430, 470, 501, 502, 503, 505)
"""Seeds of jobs that are soon built: the keys there are decide what they are, so any may come to be another."""


def test_each_key_has_values_and_each_value_its_key():
    """One that has none raises KeyError: say in `VALUES` what it may be."""
    for head, field in ROWS:
        rule_of(head, field)
    known = {f" {head} {field.name}" for head, field in ROWS}
    assert [name for name in VALUES if not any(one.endswith(f" {name}") for one in known)] == []


def test_a_key_without_values_is_found():
    new = key(holding("what nobody knows")(lambda value, place: value), "a length that nobody thought of", None)
    new.name = "new"
    with pytest.raises(KeyError, match=r"no values for \[slots\] new"):
        rule_of("[slots]", new)


@pytest.mark.in_every_run(0)
@pytest.mark.parametrize("some", [QUICK[::2], QUICK[1::2]])
def test_jobs_of_any_keys_build_or_are_refused_for_a_reason(tmp_path, some):
    """None is refused by its own check or crashes; most are built."""
    ends = {seed: ending(key_job(seed).write(tmp_path / f"{seed}").parent, resolution=COARSE, beside=True)
            for seed in some}
    assert {seed: one.message for seed, one in ends.items() if one.kind not in ("built", "refused")} == {}
    assert sum(one.kind == "built" for one in ends.values()) > len(some) / 2


def test_a_sensible_job_grows_by_the_key_whose_turn_it_is_and_builds(tmp_path):
    """The same each time; with the tables that it needs."""
    first = next(n for n, (head, field) in enumerate(ROWS) if f"{head} {field.name}" == "[moved] limit")
    for seed in range(first, 4 * len(ROWS), len(ROWS)):  # where chance puts the marks a job may be refused
        job = grown_job(seed)
        assert job == grown_job(seed)
        tables = tomllib.loads(job.toml)
        assert "limit" in tables["moved"]
        assert len(tables["measured"]) >= 3  # without which it is not read
        end = ending(job.write(tmp_path / str(seed)).parent, resolution=COARSE, beside=True)
        if end.kind == "built":
            break
    assert end.kind == "built", end.message
