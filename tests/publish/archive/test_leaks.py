"""The last look finds a private name wherever a file can hold one, and stops the archive."""

import base64
import io
import json

import matplotlib as mpl
import pytest
from matplotlib.figure import Figure

from trialkit.errors import StudyError, TrialkitError
from trialkit.publish.archive.leaks import require_no_place, require_nothing_private
from trialkit.publish.privacy import Names

NAMES = Names({"Zqcooperator Person": "a cooperator"}, {"zqfarm_one": "farm_abcde"})


def picture(**told: str) -> bytes:
    held = io.BytesIO()
    with mpl.rc_context({"savefig.dpi": 20}):
        Figure((1, 1)).savefig(held, format="png", metadata=told or None)
    return held.getvalue()


def notebook(*, source: object = "x", image: bytes = b"") -> str:
    data = {"image/png": base64.b64encode(image).decode()} if image else {}
    outputs = [{"output_type": "display_data", "data": data, "metadata": {}}]
    return json.dumps({"cells": [{"source": source, "outputs": outputs}]})


LEAKS = {
    "a.txt": "thanks to zqcooperator PERSON",
    "b.csv": "plot,lost\n1,mowed by Zqcooperator-Person\n",
    "c.html": "<p>Zqcooperator&#32;Person</p>",
    "d.json": '{"said": "Zqcooperator\\u0020Person"}',
    "e.ipynb": notebook(source=["Zqcooperator ", "Person"]),
    "f.ipynb": notebook(image=picture(Title="by Zqcooperator Person")),
    "g.md": "see zqfarm_one",
    "zqfarm_one.csv": "plot\n",
    "h.csv": "note\nwrite to ada@example.org\n",
}


@pytest.mark.parametrize("name", LEAKS)
def test_a_private_name_is_found(name, tmp_path) -> None:
    (tmp_path / name).write_text(LEAKS[name], encoding="utf-8")
    with pytest.raises(StudyError, match="nothing was archived") as told:
        require_nothing_private(tmp_path, NAMES)
    assert [fault.file for fault in told.value.faults] == [name]


def test_a_private_name_in_a_picture_file_is_found(tmp_path) -> None:
    (tmp_path / "map.png").write_bytes(picture(Author="Zqcooperator Person"))
    with pytest.raises(StudyError, match=r"map\.png"):
        require_nothing_private(tmp_path, NAMES)


def test_a_picture_that_packs_its_texts_is_not_let_through(tmp_path) -> None:
    packed = picture().replace(b"IDAT", b"zTXt", 1)
    (tmp_path / "map.png").write_bytes(packed)
    with pytest.raises(TrialkitError, match="packed text"):
        require_nothing_private(tmp_path, NAMES)


def test_files_without_private_names_pass(tmp_path) -> None:
    (tmp_path / "a.txt").write_text("Farm abcde", encoding="utf-8")
    (tmp_path / "b.ipynb").write_text(notebook(image=picture()), encoding="utf-8")
    require_nothing_private(tmp_path, NAMES)


def test_the_place_of_making_is_found(tmp_path) -> None:
    (tmp_path / "a.txt").write_text("read /home/x/.making-1/study", encoding="utf-8")
    with pytest.raises(StudyError, match="folder of this computer"):
        require_no_place(tmp_path, ".making-1")
    require_no_place(tmp_path, ".making-2")
