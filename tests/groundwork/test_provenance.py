"""Are hashes those of the bytes, and versions those installed?"""

from __future__ import annotations

from importlib import metadata

from survstats import __version__
from survstats.groundwork.provenance import bytes_hash, file_hash, versions


def test_hash_is_the_published_sha_256(tmp_path):
    # FIPS 180-4 example: "abc"
    expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    (tmp_path / "f").write_bytes(b"abc")
    assert bytes_hash(b"abc") == file_hash(tmp_path / "f") == expected


def test_versions_name_what_numbers_and_papers_depend_on():
    found = versions()
    assert found["survstats"] == __version__
    assert found["numpy"] == metadata.version("numpy")
    assert {"python", "scipy", "pandas", "typst"} <= set(found)
