"""Edits, template, data and killed renders, one plain case after the other."""

import pytest

from tests.narrative.world import STEPS, World
from trialkit.narrative.merge import has_two_versions
from trialkit.narrative.pieces import Piece


@pytest.fixture
def world() -> World:
    one = World()
    one.render("A")
    return one


def edit(world, place, name, text):
    world.write(place, [Piece(p.name, text) if p.name == name else p for p in world.read(place)])


def text_of(world, place, name):
    return {piece.name: piece.text for piece in world.read(place)}.get(name)


def codes(woven):
    return [(fault.code, fault.severity) for fault in woven.faults]


@pytest.mark.parametrize("place", ["A", "file"])
def test_an_edit_in_either_place_reaches_both(world, place):
    edit(world, place, "meaning", "## Meaning\n\nWords of mine.")
    world.render("A")
    assert text_of(world, "A", "meaning") == "## Meaning\n\nWords of mine."
    assert text_of(world, "file", "meaning") == "## Meaning\n\nWords of mine."


def test_edits_of_two_people_in_two_places_both_survive(world):
    edit(world, "A", "meaning", "From JupyterLab.")
    edit(world, "file", "found", "From the file.")
    woven = world.render("A")
    assert text_of(world, "A", "meaning") == "From JupyterLab."
    assert text_of(world, "A", "found") == "From the file."
    assert not woven.faults


def test_two_edits_of_one_text_are_both_kept_and_ask_for_a_decision(world):
    edit(world, "A", "meaning", "From JupyterLab.")
    edit(world, "file", "meaning", "From the file.")
    woven = world.render("A")
    text = text_of(world, "A", "meaning")
    assert has_two_versions(text)
    assert text.index("From the file.") < text.index("From JupyterLab.")
    assert codes(woven) == [("decision", "error")]
    assert codes(world.render("A")) == [("decision", "error")]
    edit(world, "A", "meaning", "From both.")
    assert codes(world.render("A")) == []
    assert text_of(world, "file", "meaning") == "From both."


def test_the_template_changes_what_nobody_edited(world):
    world.template[1] = ("found", "## What was found")
    world.render("A")
    assert text_of(world, "A", "found") == "## What was found"


def test_a_changed_template_leaves_a_persons_text_and_tells(world):
    edit(world, "A", "found", "## Mine")
    world.render("A")
    world.template[1] = ("found", "## What was found")
    woven = world.render("A")
    assert text_of(world, "A", "found") == "## Mine"
    assert codes(woven) == [("template", "note")]
    assert "## What was found" in woven.faults[0].remedy


def test_default_sentences_follow_the_data_until_a_person_edits_them(world):
    assert "came out lower" in text_of(world, "A", "findings")
    world.facts = 1
    world.render("A")
    assert "came out higher" in text_of(world, "A", "findings")


def test_flipped_data_mark_the_claim_that_the_specialist_made(world):
    edit(world, "A", "findings", "{claim}`Netting keeps beetles off <netting lowers beetles>`.")
    assert world.render("A").unsupported == ()
    world.facts = 1
    woven = world.render("A")
    (claim,) = woven.unsupported
    assert (claim.standing, claim.cell) == ("contradicted", "findings")
    page = "".join(cell["source"] for cell in woven.page["cells"])
    assert '<span class="claim unsupported">Netting keeps beetles off' in page
    assert "Contradicted by the data: Flea beetle days, worthwhile: 62" in page
    assert ("claim", "question") in codes(woven)


def test_a_text_taken_out_stays_out_and_one_of_the_persons_own_stays_in(world):
    pieces = [piece for piece in world.read("A") if piece.name != "meaning"]
    world.write("A", [*pieces, Piece("b7", "A note.")])
    for _ in range(2):
        world.render("A")
    assert text_of(world, "A", "meaning") is None
    assert world.read("A")[-1] == Piece("b7", "A note.")
    assert "A note." in world.file


def test_a_text_moved_behind_an_output_stays_there(world):
    pieces = world.read("A")
    world.write("A", [pieces[0], *pieces[2:], pieces[1]])
    world.template.insert(0, ("first", "New in the template."))
    world.render("A")
    names = [piece.name for piece in world.read("A")]
    assert names == ["first", "open", "findings", "preview", "meaning", "results", "found"]


@pytest.mark.parametrize("writes", range(STEPS))
def test_a_killed_render_is_no_edit_even_if_the_template_changes_again(world, writes):
    world.template[1] = ("found", "## Second")
    edit(world, "A", "meaning", "Mine.")
    world.render("A", writes)
    world.template[1] = ("found", "## Third")
    woven = world.render("A")
    assert text_of(world, "A", "found") == "## Third"
    assert text_of(world, "file", "meaning") == "Mine."
    assert [one.name for one in woven.state.texts if one.by_person] == ["meaning"]
    assert not woven.faults


@pytest.mark.parametrize("writes", range(STEPS))
def test_an_edit_after_a_killed_render_takes_part_in_the_next(world, writes):
    edit(world, "A", "meaning", "First.")
    world.render("A", writes)
    edit(world, "A", "meaning", "Second.")
    woven = world.render("A")
    assert text_of(world, "A", "meaning") == "Second."
    assert not woven.faults


def test_a_notebook_of_another_folder_gets_the_words_and_brings_its_own(world):
    world.render("B")
    edit(world, "A", "meaning", "By way of A.")
    world.render("A")
    edit(world, "B", "found", "By way of B.")
    woven = world.render("B")
    assert text_of(world, "B", "meaning") == "By way of A."
    assert text_of(world, "file", "found") == "By way of B."
    assert not woven.faults


def test_an_outdated_notebook_does_not_overwrite_newer_words(world):
    world.render("B")
    edit(world, "A", "meaning", "By way of A.")
    world.render("A")
    edit(world, "B", "meaning", "By way of B.")
    world.render("B")
    assert "By way of A." in text_of(world, "B", "meaning")
    assert "By way of B." in text_of(world, "B", "meaning")


def test_words_outlive_the_loss_of_the_text_file_and_its_state(world):
    edit(world, "A", "meaning", "Mine.")
    world.render("A")
    world.file = world.state = None
    world.render("A")
    assert text_of(world, "A", "meaning") == "Mine."
    assert "Mine." in world.file


def test_words_outlive_the_loss_of_the_reports_folder(world):
    edit(world, "A", "meaning", "Mine.")
    world.render("A")
    world.notebooks.clear()
    world.render("A")
    assert text_of(world, "A", "meaning") == "Mine."


def test_a_code_cell_of_a_persons_own_is_kept_as_text_and_told(world):
    cell = {"cell_type": "code", "id": "mine", "metadata": {}, "source": "1 + 1", "outputs": []}
    world.notebooks["A"]["cells"].append(cell)
    woven = world.render("A")
    assert text_of(world, "A", "mine") == "```python\n1 + 1\n```"
    assert codes(woven) == [("stray", "note")]


def test_pictures_pasted_into_a_cell_are_carried_over(world):
    cell = next(cell for cell in world.notebooks["A"]["cells"] if cell["id"] == "meaning")
    cell["attachments"] = {"a.png": {"image/png": "xyz"}}
    world.render("A")
    cell = next(cell for cell in world.notebooks["A"]["cells"] if cell["id"] == "meaning")
    assert cell["attachments"] == {"a.png": {"image/png": "xyz"}}


def test_a_text_named_like_an_output_keeps_its_words(world):
    world.write("file", [*world.read("file"), Piece("extra", "Words.")])
    world.file = world.file.replace("<!-- output: results -->", "")
    world.file = world.file.replace("text: extra", "text: results")
    world.render("A")
    assert text_of(world, "A", "results-text") == "Words."


def test_the_preview_shows_the_text_filled_in_and_the_page_leaves_roles_out(world):
    woven = world.render("A")
    (preview,) = [cell for cell in woven.notebook["cells"] if cell["id"] == "preview"]
    shown = preview["outputs"][0]["data"]["text/markdown"]
    assert "lower with fine-mesh netting than in the untreated check, by 62 %" in shown.replace(
        "\u00a0", " "
    )
    assert "{eval}" in text_of(world, "A", "findings")
    assert "{eval}" not in "".join(cell["source"] for cell in woven.page["cells"])


def test_an_unknown_name_is_an_error_with_its_line_and_the_nearest_names(world):
    edit(world, "file", "meaning", "One.\n\nTwo {eval}`netting.beetles.chnge`.")
    (fault,) = world.render("A").faults
    assert (fault.severity, fault.code, fault.column) == ("error", "role", "meaning")
    assert "netting.beetles.change" in fault.what
    assert "{eval}" in world.file.split("\n")[fault.row - 1]


def test_numbers_that_moved_are_marked_until_somebody_edits(world):
    edit(world, "A", "meaning", "Beetles: {eval}`netting.beetles.change`.")
    assert not world.render("A").faults
    world.facts = 1
    woven = world.render("A")
    page = "".join(cell["source"] for cell in woven.page["cells"]).replace("\u00a0", " ")
    assert '<div class="stale" role="note">' in page
    assert "62 % lower then, <strong>62 % higher</strong> now" in page
    assert codes(woven) == [("stale", "note")]
    edit(world, "A", "meaning", "More beetles: {eval}`netting.beetles.change`.")
    assert not world.render("A").faults


def test_an_edit_and_new_data_in_one_go_count_as_written_before_the_data(world):
    edit(world, "A", "meaning", "Beetles: {eval}`netting.beetles.change`.")
    world.facts = 1
    assert codes(world.render("A")) == [("stale", "note")]
