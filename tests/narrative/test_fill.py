"""Filling puts numbers in and marks, in words too, whatever cannot stand."""

from tests.narrative.facts_for_tests import BETTER, facts_of
from trialkit.narrative.fill import expand_sentences, fill

FACTS = facts_of(BETTER)


def test_a_supported_claim_is_plain_text():
    filled = fill("{claim}`Fewer **beetles** <netting lowers beetles>`.", FACTS)
    assert filled.markdown == "Fewer **beetles**."


def test_a_claim_that_does_not_stand_is_marked_by_words_and_class():
    text = fill("{claim}`More beetles <netting raises beetles>`.", FACTS).markdown
    assert text.startswith('<span class="claim unsupported">More beetles <strong class="mark">')
    assert "[Contradicted by the data: Flea beetle days" in text


def test_a_number_inside_a_claim_is_filled_in():
    text = "{claim}``Down {eval}`netting.beetles.change|size` <netting lowers beetles>``"
    assert fill(text, FACTS).markdown.replace("\u00a0", " ") == "Down 62 %"


def test_a_claim_without_a_condition_and_unknown_sentences_are_wrong():
    filled = fill("{claim}`No condition`\n{sentences}`findngs`", FACTS)
    assert [(one.line, one.what[:20]) for one in filled.wrong] == [
        (1, "a claim ends with it"),
        (2, "there are no default"),
    ]
    assert "findings" in filled.wrong[1].what


def test_a_value_cannot_bring_markup():
    from trialkit.narrative.values import words

    facts = facts_of(BETTER, values={"site.name": words("<script>*x*</script>")})
    text = fill("{eval}`site.name`", facts).markdown
    assert "<" not in text
    assert "*" not in text


def test_default_sentences_are_put_in_with_their_roles():
    text = expand_sentences("## Found\n\n{sentences}`findings`\n\n{eval}``site.name``", FACTS)
    assert "{claim}`Flea beetle days came out lower" in text
    assert "{sentences}" not in text
    assert text.endswith("{eval}``site.name``")
