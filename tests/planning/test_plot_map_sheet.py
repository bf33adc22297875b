"""The plot map: to scale, every plot named, the same bytes at every run."""

import pytest
from matplotlib.patches import Rectangle

from trialkit.errors import StudyError
from trialkit.planning.geometry import lay_out
from trialkit.planning.labels import write_labels
from trialkit.planning.plot_map_sheet import draw_map, save_map
from trialkit.planning.randomise import randomise

FIELD = "plot_length = 20\nplot_width = 6\nalley = 8\ngap = 1\nguard = 10\n"


def plots_of(study):
    return randomise(study, 2026, "alder_bench").plots


def test_plots_lie_where_the_plan_says(planned):
    study = planned(FIELD)
    ground = lay_out(study, plots_of(study))
    # 5 plots of 6 with 4 gaps of 1 and two guards of 10; 4 plots of 20, 3 alleys of 8, guards
    assert (ground.width, ground.height) == (54, 124)
    last = ground.plots.set_index("plot").loc["405"]
    assert (last["left"], last["bottom"]) == (10 + 4 * 7, 10 + 3 * 28)


def test_no_two_plots_overlap(planned):
    study = planned(FIELD)
    boxes = list(lay_out(study, plots_of(study)).plots.itertuples())
    for number, a in enumerate(boxes):
        for b in boxes[number + 1 :]:
            apart = abs(a.left - b.left) >= a.width or abs(a.bottom - b.bottom) >= a.height
            assert apart, (a.plot, b.plot)


@pytest.mark.parametrize(("key", "value"), [("field_width", 53), ("field_length", 123)])
def test_a_field_too_small_names_the_entry(planned, key, value):
    study = planned(f"{FIELD}{key} = {value}\n")
    with pytest.raises(StudyError, match=rf"layout\.{key}.*Take a larger field"):
        lay_out(study, plots_of(study))


def test_a_field_just_large_enough_will_do(planned):
    study = planned(f"{FIELD}field_width = 54\nfield_length = 124\n")
    assert len(lay_out(study, plots_of(study)).plots) == 20


def test_the_map_draws_and_names_every_plot_to_scale(planned):
    study = planned(FIELD)
    plots = plots_of(study)
    axes = draw_map(study, 2026, "alder_bench", plots).axes[0]
    texts = {text.get_text().split()[0] for text in axes.texts}
    assert set(plots["plot"]) <= texts
    assert axes.get_aspect() == 1
    sizes = [(r.get_width(), r.get_height()) for r in axes.patches if isinstance(r, Rectangle)]
    assert sizes.count((6, 20)) == 20


def test_lost_plots_are_crossed_out(planned):
    study = planned(FIELD)
    plots = plots_of(study)
    whole = len(draw_map(study, 2026, "alder_bench", plots).axes[0].lines)
    plots.loc[3, "lost"] = "flooded"
    assert len(draw_map(study, 2026, "alder_bench", plots).axes[0].lines) == whole + 2


def test_north_follows_the_bearing_of_the_map(planned):
    study = planned(f"{FIELD}north = 90\n")  # the top points east, so north is to the left
    note = next(t for t in draw_map(study, 2026, "alder_bench", plots_of(study)).axes[0].texts
                if t.get_text() == "N")  # fmt: skip
    x, y = note.xy
    tip_x, tip_y = note.get_position()
    assert tip_x < x
    assert tip_y == pytest.approx(y)


@pytest.mark.parametrize("suffix", ["svg", "png", "pdf"])
def test_the_same_map_has_the_same_bytes(planned, tmp_path, suffix):
    study = planned(FIELD)
    plots = plots_of(study)
    one, two = (
        save_map(draw_map(study, 2026, "alder_bench", plots), tmp_path / f"{n}.{suffix}")
        for n in "ab"
    )
    assert one.read_bytes() == two.read_bytes()


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_labels_are_ten_to_a_page(planned, tmp_path, paper):
    study = planned(FIELD)
    path = write_labels(study, 2026, "alder_bench", plots_of(study), tmp_path / "l.pdf", paper)
    assert path.read_bytes().count(b"/Type /Page\n") + path.read_bytes().count(b"/Type /Page ") == 2
