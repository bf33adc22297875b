import base64
from concurrent.futures import ThreadPoolExecutor

from trialkit import figures
from trialkit.figures.picture import pixels


def test_the_same_numbers_give_the_same_bytes(study, two_measures):
    first, second = (figures.effects(study, two_measures) for _ in range(2))
    assert first.image == second.image


def test_jupyter_gets_the_image_and_its_alternative_text(study, two_measures):
    picture = figures.effects(study, two_measures)
    shown, about = picture._repr_mimebundle_()
    assert base64.b64decode(shown["image/png"]) == picture.image
    assert about["image/png"]["alt"] == picture.alt
    assert shown["text/plain"] == f"Figure: {picture.caption}\n{picture.alt}"


def test_the_image_tells_nothing_but_pixels(study, two_measures):
    image = figures.effects(study, two_measures).image
    assert image.startswith(b"\x89PNG")
    for chunk in (b"tEXt", b"iTXt", b"zTXt", b"tIME", b"eXIf", b"pHYs"):
        assert chunk not in image


def test_pixels_follow_the_size_in_inches(study, two_measures):
    picture = figures.effects(study, two_measures)
    width, height = pixels(picture.image)
    assert (width, round(height / width, 2)) == (1080, round(picture.height / picture.width, 2))


def test_nbconvert_finds_the_alternative_text(study, two_measures):
    import nbformat
    from nbconvert import HTMLExporter

    data, about = figures.effects(study, two_measures)._repr_mimebundle_()
    output = nbformat.v4.new_output("display_data", data=data, metadata=about)
    cell = nbformat.v4.new_code_cell("picture", outputs=[output])
    page, _ = HTMLExporter(template_name="classic").from_notebook_node(
        nbformat.v4.new_notebook(cells=[cell])
    )
    assert 'alt="Flea beetle days against the untreated check' in page


def test_threads_that_draw_at_once_do_not_disturb_each_other(study, two_measures):
    alone = figures.effects(study, two_measures).image
    with ThreadPoolExecutor(4) as pool:
        images = list(pool.map(lambda _: figures.effects(study, two_measures).image, range(4)))
    assert set(images) == {alone}


def test_drawing_leaves_no_open_figure(study, two_measures):
    from matplotlib import pyplot

    figures.effects(study, two_measures)
    assert pyplot.get_fignums() == []
