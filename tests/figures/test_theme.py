from itertools import pairwise

import matplotlib
import pytest

from tests.figures.conftest import many_treatments
from trialkit.figures import theme


def test_the_check_is_always_dark_grey(study):
    assert theme.styles(study)["check"].colour == theme.CHECK
    assert theme.styles(many_treatments(study))["t0"].colour == theme.CHECK


def test_no_two_of_eight_treatments_look_alike(study):
    looks = theme.styles(many_treatments(study)).values()
    for part in ("colour", "marker", "dashes"):
        assert len({getattr(look, part) for look in looks}) == 8


def test_a_treatment_keeps_its_look_when_another_is_lost(study):
    fewer = study.model_copy(update={"treatments": study.treatments[:3]})
    assert theme.styles(fewer)["silver_mulch"] == theme.styles(study)["silver_mulch"]


def test_every_name_reads_on_white(study):
    for look in theme.styles(many_treatments(study)).values():
        assert theme.contrast(look.text, "white") >= 4.5


@pytest.mark.parametrize("grey", range(0, 256, 5))
def test_text_reads_on_every_shade(grey):
    fill = f"#{grey:02x}{grey:02x}{grey:02x}"
    assert theme.contrast(theme.text_on(fill), fill) >= 4.5


def test_neighbours_in_a_stack_differ_in_grey_print():
    fills = [theme.luminance(theme.fill_of_cause(place)["facecolor"]) for place in range(5)]
    for first, second in pairwise(fills):
        low, high = sorted((first, second))
        assert (high + 0.05) / (low + 0.05) >= 1.9


def test_drawing_leaves_the_settings_of_others_alone():
    before = dict(matplotlib.rcParams)
    with matplotlib.rc_context({"font.size": 33}):
        with theme.drawing(1) as figure:
            assert matplotlib.rcParams["font.size"] == theme.BODY
            assert figure.get_size_inches()[0] == theme.WIDTH
        assert matplotlib.rcParams["font.size"] == 33
    assert dict(matplotlib.rcParams) == before
