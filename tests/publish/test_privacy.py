"""Codes stay, are not guessable, and no private name is left in any spelling."""

import base64
import json
import shutil
import struct
import zlib

import pytest

from trialkit.errors import TrialkitError
from trialkit.publish.privacy import Names, codes_of, cooperators, farms, told_by_png
from trialkit.study import read_study


@pytest.fixture
def study(tmp_path, example_folder):
    shutil.copy(example_folder / "study.toml", tmp_path)
    return read_study(tmp_path)


def png(text: str) -> bytes:
    def chunk(kind: bytes, data: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(kind + data))
        return struct.pack(">I", len(data)) + kind + data + check

    return b"\x89PNG\r\n\x1a\n" + chunk(b"tEXt", b"Title\0" + text.encode()) + chunk(b"IDAT", b"zz")


def test_codes_stay_the_same_for_farms_and_stations_have_none(study) -> None:
    first = codes_of(study)
    assert codes_of(study) == first
    assert set(first) == set(farms(study)) == {"brook_terrace", "cedar_flat"}
    assert all(code.startswith("farm_") for code in first.values())
    assert (study.folder / "private" / ".gitignore").read_text() == "*\n"
    assert (study.folder / "private" / "codes.json").stat().st_mode & 0o077 == 0


def test_another_secret_gives_other_codes(study) -> None:
    first = codes_of(study)
    (study.folder / "private" / "codes.json").write_text(json.dumps({"secret": "00" * 32}))
    assert set(codes_of(study).values()).isdisjoint(first.values())


def test_a_broken_secret_is_told_not_replaced(study) -> None:
    codes_of(study)
    (study.folder / "private" / "codes.json").write_text("{}")
    with pytest.raises(TrialkitError, match="Bring it back"):
        codes_of(study)


def test_farms_of_one_cooperator_make_one_edition(study) -> None:
    sites = [site.model_copy(update={"cooperator": "Same One"}) for site in study.sites[1:]]
    joint = study.model_copy(update={"sites": (study.sites[0], *sites)})
    assert cooperators(joint) == {"brook_terrace": ("brook_terrace", "cedar_flat")}


@pytest.mark.parametrize(
    "text", ["Brook Terrace", "brook_terrace", "BROOK-TERRACE", "BrookTerrace", "Brook  Terrace"]
)
def test_a_name_is_taken_out_in_every_spelling(text) -> None:
    names = Names({"Brook Terrace": "Farm x"})
    assert names.taken_out(f"at {text}.") == "at Farm x."
    assert names.found_in(f"<p>at {text}.</p>".encode()) == "Brook Terrace"


def test_a_name_inside_another_word_is_left() -> None:
    assert Names({"Hill": "Farm x"}).taken_out("Chill on the hill") == "Chill on the Farm x"


def test_a_name_in_what_a_picture_tells_of_itself_is_found() -> None:
    picture = base64.b64encode(png("Brook Terrace 2024")).decode()
    page = f'<img src="data:image/png;base64,{picture}">'.encode()
    assert Names({"Brook Terrace": "x"}).found_in(page) == "Brook Terrace"
    assert "Brook Terrace" in told_by_png(png("Brook Terrace 2024"))


def test_a_name_written_as_entities_is_found() -> None:
    assert Names({"O'Field": "x"}).found_in(b"<p>O&#39;Field</p>") == "O'Field"
