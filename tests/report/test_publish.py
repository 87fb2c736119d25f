"""Are the papers whole, tagged, safe and the same as their content, and does the folder appear whole or not at all?"""

from __future__ import annotations

import base64
import errno
import hashlib
import html
import json
import os
import re
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from records_samples import RECORDS
from samples import LONG, NORMAL, t
from samples import SAMPLES as BRIEFS

from survstats.groundwork.errors import PublishError
from survstats.report.content import Piece, plain
from survstats.report.publish import (
    Content,
    count_pages,
    figures_of,
    figures_svg,
    render_html,
    render_pdf,
    write_folder,
)
from survstats.report.records_content import RecordsContent
from survstats.report.style import TEMPLATES

SAMPLES: dict[str, Content] = {**BRIEFS, **RECORDS}


def missing(program: str) -> bool:
    """Whether a test may be skipped for want of a program; never on the machine that decides (CI)."""
    return shutil.which(program) is None and not os.environ.get("CI")


def texts(part: object) -> Iterator[tuple[Piece, ...]]:
    """Every text of a content, figures included."""
    if isinstance(part, tuple) and part and isinstance(part[0], Piece):
        yield part
    elif isinstance(part, tuple):
        for inner in part:
            yield from texts(inner)
    elif is_dataclass(part):
        for field in fields(part):
            yield from texts(getattr(part, field.name))


def squeezed(text: str) -> str:
    """Text without spaces, tokens and the breaks that setting adds."""
    return re.sub(r"\s+", "", text).replace("\u2011", "-")


# ---- HTML -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SAMPLES)
def test_html_has_no_script_style_attribute_or_address(name: str) -> None:
    page = render_html(SAMPLES[name])
    markup = re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL)
    assert not re.search(r"<script|<link|<img|<iframe|<form|<object|\sstyle=|\son\w+=|javascript:", markup)
    assert not re.search(
        r"https?://(?!www\.w3\.org/2000/svg)|//[a-z]+\.", page.replace("http://www.w3.org/2000/svg", "")
    )
    assert not re.search(r"@import|url\((?!data:font/woff2;base64,|#pane-)", page)
    ids = re.findall(r'\sid="([^"]+)"', re.sub(r"<clipPath.*?</clipPath>", "", page))
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'\baria-labelledby="([^" ]+)', page)) <= set(ids)


def test_html_policy_allows_its_own_style_and_nothing_else() -> None:
    page = render_html(NORMAL)
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL)
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]+)"', page)
    assert style
    assert policy
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    assert html.unescape(policy[1]) == (
        f"default-src 'none'; style-src 'sha256-{digest}'; font-src data:; base-uri 'none'; form-action 'none'"
    )


class _Numbers(HTMLParser):
    """Collects what stands in the elements that carry a number's id."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, str]] = []
        self.open: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:  # noqa: ARG002
        self.open = dict(attrs).get("data-number")

    def handle_data(self, data: str) -> None:
        if self.open is not None:
            self.found.append((self.open, data))
            self.open = None


@pytest.mark.parametrize("name", SAMPLES)
def test_every_number_stands_in_the_html_with_its_id(name: str) -> None:
    parser = _Numbers()
    parser.feed(render_html(SAMPLES[name]))
    wanted = {(piece.id, piece.text) for text in texts(SAMPLES[name]) for piece in text if piece.id}
    assert wanted
    assert wanted <= set(parser.found)
    assert {identity for identity, _ in parser.found} == {identity for identity, _ in wanted}


def test_templates_hold_no_number_and_no_word_for_the_reader() -> None:
    pages, sheets = list(TEMPLATES.glob("*.html.jinja")), list(TEMPLATES.glob("*.typ"))
    assert len(pages) == 7
    assert len(sheets) == 4
    for page in pages:
        source = re.sub(r"<head>.*</head>", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
        body = re.sub(r"\{[{%].*?[%}]\}|<[^>]*>", " ", source, flags=re.DOTALL)
        assert not body.strip(), body.split()
    for sheet in sheets:
        typst_source = sheet.read_text(encoding="utf-8")
        assert "@preview" not in typst_source
        shown = re.findall(r"\[([^\[\]]*)\]", re.sub(r"//.*", "", typst_source))
        words = {text.strip() for text in shown if not re.fullmatch(r"(#[a-z]+)+", text.strip())}
        assert words <= {"", "–"}


def test_html_escapes_what_comes_from_the_records() -> None:
    nasty = '<script>alert(1)</script> & "quotes" {{ 7 * 7 }} #panic() $x$ *a* \\ @here'
    content = replace(
        NORMAL, population=(Piece(nasty, 'a"b><c'),), head=replace(NORMAL.head, title=(Piece(nasty),))
    )
    page = render_html(content)
    assert "<script" not in page
    assert html.escape(nasty, quote=False).split("&amp;")[0] in page
    parser = _Numbers()
    parser.feed(page)
    assert ('a"b><c', nasty) in parser.found


# ---- PDF --------------------------------------------------------------------------------------


@pytest.fixture(scope="module", params=list(SAMPLES))
def printed(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Content, Path]:
    file = tmp_path_factory.mktemp("pdf") / "brief.pdf"
    file.write_bytes(render_pdf(SAMPLES[request.param]))
    return SAMPLES[request.param], file


@pytest.mark.skipif(missing("pdfinfo"), reason="pdfinfo (poppler-utils) is not installed")
def test_pdf_is_two_tagged_a4_pages(printed: tuple[Content, Path]) -> None:
    content, file = printed
    told = subprocess.run(["pdfinfo", file], capture_output=True, text=True, check=True).stdout
    assert re.search(r"^Pages:\s+2$", told, re.MULTILINE)
    assert re.search(r"^Tagged:\s+yes$", told, re.MULTILINE)
    assert re.search(r"^Page size:\s+59\d\.\d+ x 841\.\d+ pts \(A4\)$", told, re.MULTILINE)
    assert plain(content.head.title) in told
    data = file.read_bytes()
    assert b"pdfuaid" in data
    assert b"/Lang" in data


@pytest.mark.skipif(missing("pdftotext"), reason="pdftotext (poppler-utils) is not installed")
def test_pdf_says_what_the_content_says(printed: tuple[Content, Path]) -> None:
    content, file = printed
    pages = [
        squeezed(
            subprocess.run(
                ["pdftotext", "-raw", "-f", n, "-l", n, file, "-"], capture_output=True, text=True, check=True
            ).stdout
        )
        for n in ("1", "2")
    ]
    silent = {plain(content.head.title), plain(content.head.page_label)}
    silent |= {plain(figure.alt) for figure in figures_of(content).values()}
    for text in texts(content):
        if plain(text) in silent:
            continue
        for word in plain(text).split():
            assert squeezed(word) in "".join(pages), plain(text)
    assert "1of2" in pages[0]
    assert "2of2" in pages[1]
    assert squeezed(plain(content.question)) in pages[0]
    assert squeezed(plain(content.answer)) in pages[0]
    for note in content.head.notes:
        assert all(squeezed(plain(note)) in page for page in pages)
    for line in content.foot:
        assert squeezed(plain(line)) in pages[0]
    second = (
        (content.findings.title,)
        if isinstance(content, RecordsContent)
        else (content.gates_title, content.steady.title)
    )
    for line in (*second, *content.provenance):
        assert squeezed(plain(line)) in pages[1]


def test_pdf_is_the_same_every_time() -> None:
    assert render_pdf(NORMAL) == render_pdf(NORMAL)
    assert render_pdf(NORMAL, paper="tone") != render_pdf(NORMAL)


def test_pdf_never_reads_text_as_markup() -> None:
    render_pdf(replace(NORMAL, population=t("#panic() $x$ `a` <b> @here = // \\ _c_ ~ 'q' \"p\"")))


def test_pdf_refuses_what_it_cannot_print() -> None:
    with pytest.raises(PublishError) as fault:
        render_pdf(replace(NORMAL, population=t("Oil field 北海")))
    assert fault.value.reason == "pdf"
    assert fault.value.plain == "The fonts of the paper lack the letter '北'."
    assert "Latin" in fault.value.remedy


def test_pdf_of_very_long_texts_runs_on_and_cuts_nothing() -> None:
    assert count_pages(render_pdf(replace(NORMAL, foot=NORMAL.foot * 9))) > 2


def test_figures_are_named_and_there_only_where_the_content_has_them() -> None:
    assert set(figures_svg(NORMAL)) == {"seats", "axis", "break_even"}
    assert set(figures_svg(SAMPLES["survivor_only"])) == {"axis", "break_even"}
    assert "Offshore" in render_html(LONG)


# ---- the folder -------------------------------------------------------------------------------

OURS = b'{"made_by": "survstats", "invented": "yes"}'
REAL = b'{"made_by": "survstats", "invented": "no"}'
REPORT = {"manifest.json": OURS, "brief.html": b"one", "tables/a.csv": b"x\n1\n"}


DAY_S = 24 * 3600


def leave(target: Path, *, age_s: float) -> Path:
    """A half-written folder beside the target, as a run leaves it behind that was killed so long ago."""
    half = target.with_name(f".{target.name}.new-0123456789abcdef")
    half.mkdir()
    (half / "brief.html").write_text("half", encoding="utf-8")
    os.utime(half, (time.time() - age_s,) * 2)
    return half


def read(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_folder_is_made_and_replaced_whole(tmp_path: Path) -> None:
    target = tmp_path / "report"
    write_folder(target, REPORT)
    assert read(target) == dict(sorted(REPORT.items()))
    second = {"manifest.json": OURS, "brief.html": b"two"}
    write_folder(target, second)
    assert read(target) == dict(sorted(second.items()))
    assert [path.name for path in tmp_path.iterdir()] == ["report"]
    empty = tmp_path / "empty"
    empty.mkdir()
    write_folder(empty, REPORT)
    assert read(empty) == dict(sorted(REPORT.items()))


def test_folder_of_other_things_is_left_alone(tmp_path: Path) -> None:
    other = tmp_path / "letters"
    other.mkdir()
    (other / "mother.txt").write_text("dear", encoding="utf-8")
    file = tmp_path / "file"
    file.write_text("x", encoding="utf-8")
    for target, reason in (
        (other, "not_a_report"),
        (file, "not_a_folder"),
        (tmp_path / "a" / "b", "no_parent"),
    ):
        with pytest.raises(PublishError) as fault:
            write_folder(target, REPORT)
        assert fault.value.reason == reason
        assert str(fault.value).count("\n") == 0
    with pytest.raises(PublishError):
        write_folder(tmp_path / "report", {"../escape": b"x"})
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "letters"]
    assert read(other) == {"mother.txt": b"dear"}


@pytest.mark.parametrize(
    "manifest", [b"", b"{}", b"[]", b"\xff", b"[" * 100_000, b'{"name": "a web page"}', b'{"made_by": "me"}']
)
def test_a_manifest_of_another_program_makes_no_report(tmp_path: Path, manifest: bytes) -> None:
    other = tmp_path / "app"
    other.mkdir()
    (other / "manifest.json").write_bytes(manifest)
    with pytest.raises(PublishError) as fault:
        write_folder(other, REPORT)
    assert fault.value.reason == "not_a_report"
    assert read(other) == {"manifest.json": manifest}


@pytest.mark.parametrize("name", ["notes.txt", "tables/notes.docx", "figures/mine/a.svg", "brief.html.bak"])
def test_a_report_with_something_added_is_left_alone(tmp_path: Path, name: str) -> None:
    target = tmp_path / "report"
    write_folder(target, REPORT)
    (target / name).parent.mkdir(parents=True, exist_ok=True)
    (target / name).write_text("mine", encoding="utf-8")
    with pytest.raises(PublishError) as fault:
        write_folder(target, REPORT)
    assert fault.value.reason == "not_a_report"
    assert (target / name).read_text(encoding="utf-8") == "mine"


def test_papers_of_an_invented_study_never_replace_those_of_a_real_one(tmp_path: Path) -> None:
    target = tmp_path / "report"
    write_folder(target, REPORT)
    write_folder(target, {**REPORT, "manifest.json": REAL})
    with pytest.raises(PublishError) as fault:
        write_folder(target, REPORT)
    assert fault.value.reason == "not_a_report"
    assert fault.value.remedy == "Name another folder."
    assert read(target)["manifest.json"] == REAL
    write_folder(target, {"manifest.json": REAL})


@pytest.mark.parametrize("name", ["a[b]", "all*", "what?", "näm e", "-x", "{a}"])
def test_a_folder_may_have_any_name(tmp_path: Path, name: str) -> None:
    bystander = tmp_path / ".allx.new-0123456789abcdef"
    bystander.mkdir()
    os.utime(bystander, (0, 0))
    for _ in range(2):
        write_folder(tmp_path / name, REPORT)
    left = leave(tmp_path / name, age_s=2 * DAY_S)
    write_folder(tmp_path / name, REPORT)
    assert not left.exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([bystander.name, name])


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX systems")
@pytest.mark.parametrize(("mask", "mode"), [(0o022, 0o755), (0o077, 0o700), (0o002, 0o775)])
def test_the_folder_follows_the_umask(tmp_path: Path, mask: int, mode: int) -> None:
    before = os.umask(mask)
    try:
        write_folder(tmp_path / "report", REPORT)
    finally:
        os.umask(before)
    assert (tmp_path / "report").stat().st_mode & 0o777 == mode


@pytest.mark.parametrize("first", [True, False])
def test_two_writers_at_once_leave_one_whole_report(tmp_path: Path, first: bool) -> None:
    target = tmp_path / "report"
    faults: list[Exception] = []

    def many(mark: bytes) -> dict[str, bytes]:
        return {"manifest.json": OURS, **{f"tables/{n}.csv": mark * 50_000 for n in range(8)}}

    def write(mark: bytes) -> None:
        try:
            for _ in range(1 if first else 12):
                write_folder(target, many(mark))
        except Exception as fault:  # noqa: BLE001  (shown below, in the thread of the test)
            faults.append(fault)

    for _ in range(8 if first else 1):
        shutil.rmtree(target, ignore_errors=True)
        if not first:
            write_folder(target, many(b"a"))
        writers = [threading.Thread(target=write, args=(mark,)) for mark in (b"a", b"b")]
        for writer in writers:
            writer.start()
        for writer in writers:
            writer.join()
        assert faults == []
        assert read(target) in (many(b"a"), many(b"b"))
        assert [path.name for path in tmp_path.iterdir()] == ["report"]


def test_papers_of_a_run_still_writing_are_left_alone(tmp_path: Path) -> None:
    young = leave(tmp_path / "report", age_s=DAY_S / 2)
    write_folder(tmp_path / "report", REPORT)
    assert (young / "brief.html").is_file()


def test_papers_that_changed_while_written_are_not_put_in_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "report"
    write_folder(target, REPORT)
    real = os.fsync

    def meddling(handle: int) -> None:
        for path in tmp_path.glob(".report.new-*/brief.html"):
            path.unlink()
        real(handle)

    monkeypatch.setattr(os, "fsync", meddling)
    with pytest.raises(PublishError) as fault:
        write_folder(target, REPORT)
    assert fault.value.reason == "not_written"
    assert read(target) == dict(sorted(REPORT.items()))


def test_folder_survives_without_exchange(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "report"
    write_folder(target, REPORT)
    monkeypatch.setattr("survstats.report.folder._exchange", lambda *_: False)
    write_folder(target, {**REPORT, "brief.html": b"two"})
    assert (target / "brief.html").read_bytes() == b"two"
    os.rename(target, tmp_path / ".report.old-0123456789abcdef")  # as if killed between the two renames
    leave(target, age_s=2 * DAY_S)
    write_folder(target, REPORT)
    assert [path.name for path in tmp_path.iterdir()] == ["report"]


def test_a_fault_while_writing_leaves_the_old_report(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "report"
    write_folder(target, REPORT)

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(PublishError) as fault:
        write_folder(target, {**REPORT, "brief.html": b"two"})
    assert fault.value.reason == "disk_full"
    assert read(target) == dict(sorted(REPORT.items()))
    assert [path.name for path in tmp_path.iterdir()] == ["report"]


def test_a_disk_that_fills_up_leaves_the_old_report_where_nothing_can_be_mounted(
    tmp_path, monkeypatch
) -> None:
    target = tmp_path / "report"
    write_folder(target, REPORT)

    def full(_descriptor: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(PublishError) as fault:
        write_folder(target, REPORT | {"brief.html": b"new"})
    assert fault.value.reason == "disk_full"
    assert (target / "brief.html").read_bytes() == REPORT["brief.html"]
    assert [path.name for path in tmp_path.iterdir()] == ["report"]


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can mount a small disk"
)
def test_disk_full_leaves_the_old_report(tmp_path: Path) -> None:
    if subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", tmp_path], capture_output=True
    ).returncode:
        pytest.skip("this machine does not allow mounts")
    try:
        target = tmp_path / "report"
        write_folder(target, REPORT)
        with pytest.raises(PublishError) as fault:
            write_folder(target, {**REPORT, "brief.pdf": b"x" * 400_000})
        assert fault.value.reason == "disk_full"
        assert read(target) == dict(sorted(REPORT.items()))
        assert [path.name for path in tmp_path.iterdir()] == ["report"]
    finally:
        subprocess.run(["umount", tmp_path], check=True)


LOOP = """
import sys
from pathlib import Path
from survstats.report.folder import write_folder
turn = 0
print("ready", flush=True)
while True:
    turn += 1
    files = {f"tables/{n}.csv": b"%d" % turn * 50_000 for n in range(6)}
    write_folder(Path(sys.argv[1]), files | {"manifest.json": b'{"made_by": "survstats", "turn": %d}' % turn})
"""


@pytest.mark.skipif(os.name != "posix", reason="kill -9 is a matter of POSIX systems")
def test_kill_in_the_middle_leaves_one_whole_report(tmp_path: Path) -> None:
    target = tmp_path / "report"
    start = b'{"made_by": "survstats", "turn": 0}'
    write_folder(target, {"manifest.json": start, **{f"tables/{n}.csv": b"0" * 50_000 for n in range(6)}})
    for kill in range(8):
        process = subprocess.Popen([sys.executable, "-c", LOOP, str(target)], stdout=subprocess.PIPE)
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(0.02 + 0.013 * kill)
        process.kill()
        process.wait()
        process.stdout.close()
        found = read(target)
        assert len(found) == 7, sorted(found)
        turn = b"%d" % json.loads(found["manifest.json"])["turn"]
        assert all(found[f"tables/{n}.csv"] == turn * 50_000 for n in range(6))
    for half in tmp_path.glob(".report.*"):
        os.utime(half, (0, 0))
    write_folder(target, REPORT)
    assert [path.name for path in tmp_path.iterdir()] == ["report"], "leftovers of killed runs are swept"
