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


def shown(study, plots=None) -> list[str]:
    plots = plots_of(study) if plots is None else plots
    return [text.get_text() for text in draw_map(study, 2026, "alder_bench", plots).axes[0].texts]


def test_every_row_has_its_block_and_the_way_it_is_walked(planned):
    texts = shown(planned(FIELD))
    assert [text for text in texts if "block" in text] == [
        "block 1 \u2192",
        "\u2190 block 2",
        "block 3 \u2192",
        "\u2190 block 4",
    ]


def test_guards_and_alleys_are_named(planned):
    texts = shown(planned(FIELD))
    assert (texts.count("guard"), texts.count("alley")) == (4, 3)


def test_whole_plots_have_a_heavy_line_and_their_level(planned):
    oil = '[[treatments]]\nid = "oil"\nname = "Oil"\n'
    groups = 'open = ["check", "kaolin", "oil"], netted = ["netting", "clover", "silver_mulch"]'
    study = planned(f'design = "split_plot"\nwhole_plots = {{ {groups} }}\n{FIELD}', oil)
    axes = draw_map(study, 2026, "alder_bench", plots_of(study)).axes[0]
    heavy = [patch for patch in axes.patches if patch.get_linewidth() > 2]
    assert {patch.get_width() for patch in heavy} == {3 * 6 + 2 * 1}
    assert len(heavy) == 2 * 4
    assert [text.get_text().strip() for text in axes.texts].count("netted") == 4


@pytest.mark.parametrize(("paper", "width"), [("letter", 8.5), ("a4", 8.27)])
def test_the_page_is_the_paper_that_the_study_names(planned, paper, width):
    study = planned(f'{FIELD}paper = "{paper}"\n')
    figure = draw_map(study, 2026, "alder_bench", plots_of(study))
    assert figure.get_size_inches()[0] == pytest.approx(width)


def test_everything_stays_on_the_page_and_no_name_leaves_its_plot(planned):
    study = planned(FIELD)
    figure = draw_map(study, 2026, "alder_bench", plots_of(study))
    renderer = figure.canvas.get_renderer()
    page, axes = figure.bbox, figure.axes[0]
    for text in [*axes.texts, *figure.texts]:
        box = text.get_window_extent(renderer)
        assert page.contains(box.x0, box.y0)
        assert page.contains(box.x1, box.y1), text.get_text()
    boxes = {p.get_xy(): p.get_window_extent(renderer) for p in axes.patches}
    ground = lay_out(study, plots_of(study)).plots
    names = {text.get_text().split()[0]: text for text in axes.texts}
    for plot in ground.itertuples():
        inside, name = boxes[(plot.left, plot.bottom)], names[plot.plot].get_window_extent(renderer)
        assert inside.x0 <= name.x0
        assert name.x1 <= inside.x1
        assert inside.y0 <= name.y0
        assert name.y1 <= inside.y1
