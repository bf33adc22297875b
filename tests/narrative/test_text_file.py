"""The text file: what is written is read back, whatever people do to it."""

from hypothesis import given
from hypothesis import strategies as st

from trialkit.narrative.pieces import Piece, tidy, without_repeats
from trialkit.narrative.text_file import from_file, line_of, to_file

STORY = (
    Piece("open"),
    Piece("found", "## Found\n\nWords."),
    Piece("effects"),
    Piece("end", "Bye."),
)
LINES = st.sampled_from(
    ["", "words", "<!-- text: x -->", "\\<!-- output: y -->", "<!-- about this file -->", "  # a "]
)
TEXTS = st.lists(LINES, max_size=5).map(lambda lines: tidy("\n".join(lines)))


def test_what_is_written_is_read_back():
    assert from_file(to_file(STORY, "2025/alder_bench")) == STORY


@given(st.lists(st.one_of(TEXTS, st.text().map(tidy)), max_size=4))
def test_any_text_is_read_back_even_one_that_looks_like_a_marker(texts):
    story = tuple(Piece(f"cell-{number}", text) for number, text in enumerate(texts))
    assert from_file(to_file(story, "across")) == story


def test_a_text_written_under_no_marker_is_kept_under_a_name_of_its_own():
    pieces = from_file("Hello from a person.\n\n<!-- text: found -->\n\nWords.\n")
    assert [piece.text for piece in pieces] == ["Hello from a person.", "Words."]
    assert pieces == from_file("Hello from a person.\n\n<!-- text: found -->\n\nWords.\n")


def test_a_marker_may_be_written_loosely():
    (piece,) = from_file("  <!--text:My note!-->\r\nWords.\r\n")
    assert piece == Piece("My-note", "Words.")


def test_a_marker_lost_by_accident_loses_no_words():
    content = to_file(STORY, "across").replace("<!-- text: end -->", "")
    assert "Bye." in "".join(piece.text or "" for piece in from_file(content))


def test_two_texts_of_one_name_are_both_kept():
    pieces = without_repeats([Piece("a", "one"), Piece("a", "two")])
    assert [(p.name, p.text) for p in pieces] == [("a", "one"), ("a-2", "two")]


def test_the_line_of_a_marker_is_that_in_the_file():
    content = to_file(STORY, "across")
    assert content.split("\n")[line_of(content, "end") - 1] == "<!-- text: end -->"
    assert line_of(content, "nobody") == 0
