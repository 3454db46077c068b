"""The runner of the measurements: what it says, keeps and ends with."""

import json

import pytest

from tests.bench import run
from tests.bench.measures import Measure, in_turns


@pytest.mark.parametrize(("value", "code", "verdict"), [(1.25, 0, "kept"), (1.26, 1, "MISSED")])
def test_a_missed_promise_is_told_kept_and_ends_with_1(value, code, verdict, monkeypatch, tmp_path, capsys):
    monkeypatch.setattr(run, "VAR", tmp_path / "var")
    monkeypatch.setattr(run, "measure", lambda parts: iter([Measure("Card : bare", value, 1.25, "10 ms : 8 ms")]))
    assert run.main([]) == code
    assert f"Card : bare  {value:g}      1.25   {verdict}" in capsys.readouterr().out
    (kept,) = json.loads((tmp_path / "var" / "bench.json").read_text())["measures"]
    assert (kept["value"], kept["limit"], kept["kept"]) == (value, 1.25, code == 0)


def test_an_unknown_part_is_refused_by_name(capsys):
    with pytest.raises(SystemExit):
        run.main(["papers"])
    told = "there is no part papers; there are documents, lists, lookup, calculations, exchange"
    assert told in capsys.readouterr().err


def test_what_is_compared_takes_turns():
    done = []
    in_turns(2, lambda: done.append("a"), lambda: done.append("b"), warm_up=1)
    assert done == ["a", "b"] * 3
