"""Whatever people, templates, data and killed renders do: no word that a person wrote is lost."""

from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.narrative.world import FACTS, STEPS, World
from trialkit.narrative.pieces import Piece

PERSON = ("replace", "append", "blank", "add", "delete", "move", "split")
ACT = st.one_of(
    st.tuples(st.sampled_from(PERSON), st.integers(0, 8), st.integers(0, 8), st.integers(0, 8)),
    st.tuples(st.sampled_from(("template text", "template add", "template drop", "template move",
                               "data")), st.integers(0, 8), st.integers(0, 8), st.just(0)),
    st.tuples(st.just("render"), st.integers(0, 3), st.integers(0, STEPS), st.just(0)),
)  # fmt: skip


def act(world: World, what: str, one: int, two: int, three: int) -> None:
    if what == "render":
        world.render("B" if one == 3 else "A", two)
    elif what == "data":
        world.facts = one % len(FACTS)
    elif what.startswith("template"):
        change_template(world, what, one, two)
    elif world.places():
        write_as_a_person(world, what, world.places()[one % len(world.places())], two, three)


def change_template(world: World, what: str, one: int, two: int) -> None:
    texts = [n for n, (_, text) in enumerate(world.template) if text is not None]
    if what == "template add":
        name = f"new-{len(world.template)}-{one}"
        if name not in dict(world.template):
            world.template.insert(two % (len(world.template) + 1), (name, f"template {one}"))
    elif texts:
        at = texts[one % len(texts)]
        name, text = world.template.pop(at)
        if what == "template text":
            world.template.insert(at, (name, f"template says {two}"))
        elif what == "template move":
            world.template.insert(two % (len(world.template) + 1), (name, text))


def write_as_a_person(world: World, what: str, place: str, two: int, three: int) -> None:
    pieces = world.read(place)
    texts = [n for n, piece in enumerate(pieces) if piece.text is not None]
    if what == "add":
        name = world.new_name()
        pieces.insert(two % (len(pieces) + 1), Piece(name, f"{world.new_word()} of mine"))
        world.touched.add(name)
    elif texts:
        at = texts[two % len(texts)]
        piece = pieces.pop(at)
        world.touched.add(piece.name)
        if what == "replace":
            pieces.insert(at, Piece(piece.name, f"mine {world.new_word()}"))
        elif what == "append":
            pieces.insert(at, Piece(piece.name, f"{piece.text}\n\nand {world.new_word()}"))
        elif what == "blank":
            pieces.insert(at, Piece(piece.name, ""))
        elif what == "move":
            pieces.insert(three % (len(pieces) + 1), piece)
        elif what == "split":
            lines = (piece.text or "").split("\n")
            cut = three % (len(lines) + 1)
            name = world.new_name()
            world.touched.add(name)
            pieces[at:at] = [
                Piece(piece.name, "\n".join(lines[:cut])),
                Piece(name, "\n".join([*lines[cut:], world.new_word()])),
            ]
    world.write(place, pieces)


@settings(max_examples=1000, deadline=None)
@given(st.lists(ACT, min_size=3, max_size=14))
@example(
    [  # twice killed, and the template is again what it was two renders ago
        ("template add", 0, 0, 0),
        ("render", 0, 2, 0),
        ("template drop", 0, 0, 0),
        ("render", 0, 1, 0),
    ]
)
def test_every_word_that_a_person_wrote_is_in_the_next_notebook(acts) -> None:
    world = World()
    world.render("A")
    for one in acts:
        act(world, *one)
    woven = world.render("A")
    assert world.known - world.released <= world.words_of("A")
    in_the_notebook = {w for w in world.known if w in woven.page["cells"].__repr__()}
    assert world.known - world.released <= in_the_notebook
    own = {text.name for text in world.agreed().texts if text.by_person}
    assert own <= world.touched, "its own output was taken for a person's words"
    again = world.render("A")
    assert (again.file, again.state.stamp) == (woven.file, woven.state.stamp)
    assert again.notebook == woven.notebook
