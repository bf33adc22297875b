"""Roles are found where Markdown has them, and nowhere else."""

from trialkit.narrative.roles import replace_roles, roles_in


def test_roles_are_found_with_their_lines_and_targets():
    text = "One {eval}`a.b`.\n\nTwo {claim}`Less of it <netting lowers\n beetles>`."
    first, second = roles_in(text)
    assert (first.name, first.content, first.line) == ("eval", "a.b", 1)
    assert (second.words, second.target, second.line) == (
        "Less of it",
        "netting lowers beetles",
        3,
    )


def test_a_role_inside_a_claim_is_found_after_it():
    roles = roles_in("{claim}``Down {eval}`a.b` <netting lowers beetles>``")
    assert [role.name for role in roles] == ["claim", "eval"]


def test_code_is_left_alone():
    text = "```\n{eval}`a`\n```\n`{eval}` and ``{eval}`b` `` and \\{eval}`c`\n\n    ~~~"
    assert roles_in(text) == []
    assert replace_roles(text, lambda role: "X") == text


def test_a_lone_backtick_hides_no_role_of_the_next_paragraph():
    assert [role.content for role in roles_in("a ` b\n\n{eval}`c`")] == ["c"]


def test_roles_of_others_are_left_alone():
    assert replace_roles("H{sub}`2`O", lambda role: "X") == "H{sub}`2`O"


def test_text_without_roles_comes_back_as_it_is():
    text = "Some words\r\n\n```\ncode\n```\nand an open fence\n~~~\nmore"
    assert replace_roles(text, lambda role: "X") == text
