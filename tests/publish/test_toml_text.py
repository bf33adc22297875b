"""What is written as TOML is read as it was."""

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from trialkit.publish.toml_text import toml_text

plain = st.one_of(
    st.text(st.characters(blacklist_categories=["Cs"])),
    st.booleans(),
    st.integers(-(2**60), 2**60),
    st.floats(allow_nan=False, allow_infinity=False),
    st.dates(),
)
keys = st.text(st.characters(blacklist_categories=["Cs"]), max_size=8)
values = st.recursive(
    plain,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner, max_size=3),
    max_leaves=8,
)


@given(st.dictionaries(keys, values, max_size=5))
def test_any_content_is_read_as_it_was_written(content) -> None:
    assert tomllib.loads(toml_text(content)) == content


def test_parts_stand_under_headings_with_plain_values_before_them() -> None:
    text = toml_text({"sites": [{"id": "x"}], "name": "a", "layout": {"blocks": 4}})
    assert text.splitlines() == [
        'name = "a"', "", "[[sites]]", 'id = "x"', "", "[layout]", "blocks = 4"
    ]  # fmt: skip
