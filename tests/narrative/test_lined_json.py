"""JSON with an entry to a line."""

import json

from hypothesis import given
from hypothesis import strategies as st

from trialkit.narrative.lined_json import lined_json

SIMPLE = st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text()
CONTENT = st.recursive(
    SIMPLE, lambda inside: st.lists(inside) | st.dictionaries(st.text(), inside), max_leaves=20
)


@given(st.dictionaries(st.text(), CONTENT))
def test_it_says_what_went_in(content) -> None:
    assert json.loads(lined_json(content)) == content


def test_a_list_and_a_table_take_a_line_for_each_entry() -> None:
    lines = lined_json({"runs": [[1, 2], [3]], "by name": {"a": {"b": 1}}}).decode().splitlines()
    assert lines[2:4] == ["  [1, 2],", "  [3]"]
    assert '  "a": {"b": 1}' in lines


def test_letters_stay_as_they_are() -> None:
    assert "m² °C" in lined_json({"unit": "m² °C"}).decode()
