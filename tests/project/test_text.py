"""JSON as it is read and laid out."""

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.project.text import lay_out, read


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "project.json: the file is empty; restore the last good one, project.json.bak"),
        (b" \n", "project.json: the file is empty"),
        (b'{"a": 1,\n "b": [1, 2', "line 2, column 12: the file ends in the middle; restore the last good one"),
        (b'{"a": 1,\n "b', "the file ends in the middle"),
        (b'{"a": 1,\n "b": }', "line 2, column 7: not JSON: Expecting value; correct this line"),
        (b'{"a": 1} {"a": 1}', "line 1, column 10: not JSON: Extra data"),
        (b"[1, 2]", "the file must hold one object {"),
        (b'"a"', "the file must hold one object {"),
        (b'{"a": 1,\n "b": "\xff"}', "line 2: not UTF-8 text; save the file as UTF-8"),
        ('{"a": 1}'.encode("utf-16"), "not UTF-8 text"),
        (b'{"a": [1, {"b": NaN}]}', "a[1].b: nan is not a finite number"),
        (b'{"a": -Infinity}', "a: -inf is not a finite number"),
        (b'{"a": 1e400}', "a: inf is not a finite number"),
        (b'{"a": ' + b"9" * 5000 + b"}", "a: inf is not a finite number"),
        (b'{"a": [{"x": 1, "y": 2, "x": 3}]}', "a[0].x: written twice; keep one of the two"),
        (b'{"tracks": [], "tracks": [1]}', "tracks: written twice"),
        (b'{"a": "\\ud800"}', "a: half of a surrogate pair"),
        (b'{"a": {"\\udfff": 1}}', "a.\\udfff: half of a surrogate pair"),
        (b'{"a": ' + b"[" * 40 + b"]" * 40 + b"}", "nested deeper than 32 levels"),
        (b"[" * 200_000, "nested deeper than 32 levels"),
        (b'{"a":' * 200_000, "nested deeper than 32 levels"),
    ],
)
def test_what_is_no_project_text_is_refused_in_words(data: bytes, message: str) -> None:
    with pytest.raises(ProjectError) as caught:
        read(data, "project.json")
    assert message in str(caught.value)
    assert len(str(caught.value)) < 500


def test_a_byte_order_mark_is_no_fault() -> None:
    assert read(b'\xef\xbb\xbf{"a": "\xc3\xbc"}', "project.json") == {"a": "ü"}


@given(st.binary(max_size=200) | st.text('[]{}",:0123e-.NaInfty\\u ', max_size=60).map(str.encode))
def test_any_bytes_are_read_or_refused_in_words(data: bytes) -> None:
    try:
        tree = read(data, "project.json")
    except ProjectError:
        return
    assert tree == json.loads(data.decode("utf-8-sig"))


plain = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=20,
)


@given(st.dictionaries(st.text(max_size=5) | st.sampled_from(["keys", "tracks", "axes"]), plain))
def test_the_layout_changes_nothing_but_the_layout(tree: dict[str, Any]) -> None:
    assert json.loads(lay_out(tree)) == tree


def test_one_key_a_line() -> None:
    """A change of one key changes one line, however long the parameters of its law are."""
    law = {"law": "table", "values": [x / 7 for x in range(40)], "more": [{"a": 1}, {"a": 2}]}
    keys = [{"at": f"10:00:0{i}:00", "value": float(i), "ease": law if i == 1 else "poly345"} for i in range(3)]
    text = lay_out({"name": "x", "tracks": [{"axis": "pan", "keys": keys}]})
    lines = text.splitlines()
    assert [line for line in lines if '"at"' in line] == [
        f"        {json.dumps(key)}{',' if key is not keys[-1] else ''}" for key in keys
    ]
    keys[1]["value"] = 7.5
    again = lay_out({"name": "x", "tracks": [{"axis": "pan", "keys": keys}]}).splitlines()
    assert sum(a != b for a, b in zip(lines, again, strict=True)) == 1


def test_a_number_that_is_none_is_not_written() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        lay_out({"value": math.nan})


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ('{"v": "::", "v": ":"}', r"k\[9\]\.v: written twice"),
        ('{"v": "\\u003a", "v": 2}', r"k\[9\]\.v: written twice"),
        ('{"a:b": 1, "a:b": "::"}', r"k\[9\]\.a:b: written twice"),
        ('{"v": NaN}', r"k\[9\]\.v: nan is not a finite number"),
        ('{"v": 1e999}', r"k\[9\]\.v: inf is not a finite number"),
        (f'{{"v": 1{"0" * 400}}}', r"k\[9\]\.v: inf is not a finite number"),
        ('{"v": "\\ud800"}', r"k\[9\]\.v: half of a surrogate pair"),
        ('{"\\ud800": 1}', r"k\[9\].*: half of a surrogate pair"),
        ('{"v": 1, "v": 2}', r"k\[9\]\.v: written twice"),
        ('{"v": {"w": [1, {"x": 1, "x": 2}]}}', r"k\[9\]\.v\.w\[1\]\.x: written twice"),
        ('{"v": [-Infinity]}', r"k\[9\]\.v\[0\]: -inf is not a finite number"),
        (f'{{"v": {"[" * 40}1{"]" * 40}}}', "nested deeper than 32 levels"),
    ],
)
def test_a_fault_among_many_objects_is_found_where_it_is(row: str, message: str) -> None:
    rows = [f'{{"at": "{number}", "v": {number}.5}}' for number in range(40)]
    rows[9] = row
    with pytest.raises(ProjectError, match=message):
        read(f'{{"k": [{", ".join(rows)}]}}'.encode(), "project.json")


@pytest.mark.parametrize(
    "row", ['{"v": "é"}', '{"v": "\\ud83d\\ude00"}', '{"v": [1, {"w": null}]}', "7", '{"v": 1e308}', '{"v": true}']
)
def test_many_objects_without_a_fault_are_read_as_they_are(row: str) -> None:
    """Whoever reads fast and whoever reads closely see the same."""
    rows = [f'{{"at": "{number}", "v": 1e308}}' for number in range(40)]
    rows[9] = row
    data = f'{{"k": [{", ".join(rows)}]}}'
    assert read(data.encode(), "project.json") == json.loads(data)


colons = st.text(":{},a\\", max_size=4)


@given(st.lists(st.tuples(colons, colons | st.lists(colons, max_size=2)), max_size=4), st.integers(0, 40))
def test_a_name_that_is_written_twice_is_found_whatever_the_texts_hold(
    pairs: list[tuple[str, Any]], others: int
) -> None:
    row = ", ".join(f"{json.dumps(name)}: {json.dumps(value)}" for name, value in pairs)
    text = f'{{"k": [{", ".join([f"{{{row}}}"] + ["{}"] * others)}]}}'
    if len(dict(pairs)) == len(pairs):
        assert read(text.encode(), "project.json") == json.loads(text)
    else:
        with pytest.raises(ProjectError, match="written twice"):
            read(text.encode(), "project.json")


@pytest.mark.parametrize("name", ["}, {", "a"])
@pytest.mark.parametrize("value", ["}, {", [{"x": 1}, {"x": "}, {"}], {}, 1.5])
def test_each_of_many_keys_has_a_line_whatever_its_texts_hold(name: str, value: object) -> None:
    keys = [{name: value, "n": number} for number in range(20)] + [{}]
    lines = lay_out({"keys": keys}).splitlines()
    assert lines[2:-2] == [f"    {json.dumps(key)}{',' if key else ''}" for key in keys]
