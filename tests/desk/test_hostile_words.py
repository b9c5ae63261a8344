"""Words from people and files, hostile ones too: a value or a plain sentence, never a traceback."""

import string

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drybank.desk import proof, quantity, upkeep, weighing
from drybank.desk.exhaust_log import read_log
from drybank.records.errors import DrybankError

words = st.text(max_size=40) | st.text(string.digits + ".,:-+eE %=abcdefgilnoprstu", max_size=25)
quiet = settings(deadline=None, max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])


def said(refused):
    """A refusal says something, in one piece and without a type's name in it."""
    assert refused.sentence().strip()
    assert "Error" not in refused.sentence()


@quiet
@given(words)
def test_quantities_watches_shares_and_tolerances(text):
    for read in (
        lambda: quantity.quantity(text, quantity.LENGTH, where="x", usual="8 in"),
        lambda: quantity.watch_s(text, where="x"),
        lambda: quantity.fraction(text, where="x"),
        lambda: quantity.degrees_c(text, where="x", scale="F"),
        lambda: proof.own_tolerance(text, "s"),
        lambda: proof.posted_line(text, "USD", "start"),
    ):
        try:
            read()
        except DrybankError as refused:
            said(refused)


@quiet
@given(words, words, words, st.lists(st.sampled_from([5, 10, 25, 50, 100, 7]), max_size=3))
def test_bags(gross, own, share, coins):
    bag = weighing.Bag(coins=tuple(coins), currency="USD", gross=gross, own=(f"25={own}",), shares=(f"25={share}",))
    try:
        weighing.weigh(bag)
    except DrybankError as refused:
        said(refused)


@quiet
@given(st.binary(max_size=300) | words.map(lambda t: f"0,{t}\n15,160\n{t},170\n".encode(errors="replace")))
def test_logs(tmp_path, content):
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    try:
        read_log(str(path), scale="F", plus_minus_c=1.0)
    except DrybankError as refused:
        said(refused)


task = st.dictionaries(
    st.sampled_from(["key", "name", "every", "per", "scope", "who", "power", "opens_machine", "minutes", "parts", "x"]),
    st.sampled_from(
        ['"belt"', '"hours"', "3", "-1", "nan", "inf", "true", '["a"]', '"on"', '"off"', "1e400", '"pocket"']
    ),
    max_size=8,
)


@quiet
@given(
    st.binary(max_size=200)
    | st.lists(task, max_size=3).map(
        lambda rows: "".join("[[task]]\n" + "".join(f"{k} = {v}\n" for k, v in r.items()) for r in rows).encode()
    )
)
def test_task_files(tmp_path, content):
    path = tmp_path / "tasks.toml"
    path.write_bytes(content)
    try:
        upkeep.read_tasks(str(path))
    except DrybankError as refused:
        said(refused)


def test_a_huge_log_is_refused_before_it_is_read_apart(tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes(b"0,160\n" * 400_000)
    with pytest.raises(DrybankError, match="bytes"):
        read_log(str(path), scale="F", plus_minus_c=1.0)
