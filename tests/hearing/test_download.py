"""Downloading a model: completely or not at all, whatever the site, the line, the archive or the disk do.

Every download goes to a real HTTP server on the loopback address. Ranges as in RFC 9110, sections 13.1.5, 14.2, 15.3.7.
"""

from __future__ import annotations

import errno
import hashlib
import io
import json
import os
import random
import shutil
import signal
import stat
import struct
import subprocess
import sys
import tempfile
import threading
import time
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from assistant.errors import BadInput, CouldNotRun
from assistant.hearing import download
from assistant.hearing.download import KnownModel, fetch, known_models, pick, unpack
from assistant.hearing.model_files import model_faults
from assistant.hearing.models import choose, find_models
from assistant.plans.model import VoiceSettings

ROOT = Path(__file__).parents[2]
NAME = "vosk-model-tiny-en-0"
TAG = '"version-1"'


def model_entries() -> dict[str, bytes]:
    """The smallest folder that passes for a model, made of noise, so that it hardly compresses."""
    noise = random.Random(7).randbytes
    graph = struct.pack("<Ii6si8s", 0x7EB2FDD6, 6, b"vector", 8, b"standard") + struct.pack("<iiQqqq", 2, 0, 0, 0, 1, 1)
    return {
        "am/final.mdl": b"\x00B" + noise(400_000) + b"FV \x04" + struct.pack("<i", 0),
        "graph/HCLr.fst": graph + noise(60_000),
        "graph/Gr.fst": graph + noise(5_000),
        "graph/disambig_tid.int": b"1\n",
        "conf/mfcc.conf": b"--sample-frequency=16000\n",
        "conf/model.conf": b"--beam=10\n",
    }


def zipped(entries: dict[str | zipfile.ZipInfo, bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in entries.items():
            archive.writestr(name, data)
    return buffer.getvalue()


ARCHIVE = zipped({f"{NAME}/{name}": data for name, data in model_entries().items()})


class Site:
    """What the server has and how it behaves. `asked`: the requests' Range headers, in order."""

    def __init__(self) -> None:
        self.body = ARCHIVE
        self.tag: str | None = TAG
        self.ranges = True
        self.code = 200
        self.cut_at: list[int] = []  # bytes of the body after which each next connection breaks
        self.says_length: int | None = None
        self.chunk_pause = 0.0
        self.shift = 0  # how far from the place asked for the site carries on
        self.asked: list[tuple[str | None, str | None]] = []
        self.url = ""

    def model(self, archive: bytes | None = None) -> KnownModel:
        data = self.body if archive is None else archive
        digest = hashlib.sha256(data).hexdigest()
        return KnownModel(NAME, "vosk", "en", "Apache-2.0", self.url, len(data), digest)


def handler_of(site: Site) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        timeout = 10

        def log_message(self, *_: object) -> None:
            pass

        def do_GET(self) -> None:
            wanted, condition = self.headers.get("Range"), self.headers.get("If-Range")
            site.asked.append((wanted, condition))
            if site.code != 200:
                self.send_error(site.code)
                return
            start = 0
            if wanted and site.ranges and condition in (None, site.tag):
                start = int(wanted.removeprefix("bytes=").removesuffix("-")) + site.shift
                if start >= len(site.body):
                    self.send_error(416)
                    return
                self.send_response(206)
                self.send_header("Content-Range", f"bytes {start}-{len(site.body) - 1}/{len(site.body)}")
            else:
                self.send_response(200)
            if site.tag:
                self.send_header("ETag", site.tag)
            self.send_header("Content-Length", str((site.says_length or len(site.body)) - start))
            self.end_headers()
            end = site.cut_at.pop(0) if site.cut_at else len(site.body)
            self.send_slowly(site.body[start:end])

        def send_slowly(self, data: bytes) -> None:
            try:
                for at in range(0, len(data), 20_000):
                    self.wfile.write(data[at : at + 20_000])
                    time.sleep(site.chunk_pause)
            except OSError:
                pass  # the other side was ended by the test

    return Handler


@pytest.fixture
def site(monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    monkeypatch.setattr(download, "PAUSE_S", 0.0)
    monkeypatch.setenv("no_proxy", "127.0.0.1")
    held = Site()
    with ThreadingHTTPServer(("127.0.0.1", 0), handler_of(held)) as server:
        held.url = f"http://127.0.0.1:{server.server_port}/{NAME}.zip"
        thread = threading.Thread(target=server.serve_forever, args=(0.02,))
        thread.start()
        yield held
        server.shutdown()
        thread.join()


def quiet(*_: object) -> None:
    pass


def get(site: Site, into: Path, model: KnownModel | None = None) -> Path:
    return fetch(model or site.model(), into, quiet, quiet)


def left_behind(into: Path) -> list[str]:
    """Everything but the lock file."""
    return sorted(str(p.relative_to(into)) for p in into.rglob("*") if p.is_file() and p.suffix != ".lock")


def is_in_place(into: Path) -> bool:
    wanted = {f"{NAME}/{name}": data for name, data in model_entries().items()}
    return left_behind(into) == sorted(wanted) and all((into / n).read_bytes() == d for n, d in wanted.items())


def test_a_whole_download_is_put_in_place_and_found(site: Site, tmp_path: Path) -> None:
    told: list[str] = []
    steps: list[tuple[int, int]] = []
    folder = fetch(site.model(), tmp_path, told.append, lambda *step: steps.append(step))
    assert folder == tmp_path / NAME and is_in_place(tmp_path)
    assert steps[-1] == (len(ARCHIVE), len(ARCHIVE)) and steps == sorted(steps) and len(steps) > 5
    assert [found.usable for found in find_models(VoiceSettings(), [tmp_path])] == [True]
    assert choose(VoiceSettings(recogniser="vosk"), [tmp_path]).model == folder


def test_a_model_that_is_there_is_not_fetched_again(site: Site, tmp_path: Path) -> None:
    get(site, tmp_path)
    get(site, tmp_path)
    assert len(site.asked) == 1


def test_a_broken_model_of_that_name_is_replaced(site: Site, tmp_path: Path) -> None:
    (tmp_path / NAME / "am").mkdir(parents=True)
    get(site, tmp_path)
    assert is_in_place(tmp_path)


def test_a_broken_download_carries_on_where_it_stopped(site: Site, tmp_path: Path) -> None:
    site.cut_at = [150_000, 300_000]
    get(site, tmp_path)
    assert is_in_place(tmp_path)
    froms = [int(wanted.removeprefix("bytes=").removesuffix("-")) for wanted, _ in site.asked if wanted]
    assert site.asked[0] == (None, None) and [tag for _, tag in site.asked[1:]] == [TAG, TAG]
    assert 0 < froms[0] <= 150_000 < froms[1] <= 300_000


def test_after_too_many_breaks_what_came_is_kept_for_the_next_run(site: Site, tmp_path: Path) -> None:
    site.cut_at = [100_000] + [100_000] * (download.TRIES - 1)
    with pytest.raises(CouldNotRun, match=f"was lost {download.TRIES} times.*try again later: the 0.1 MB"):
        get(site, tmp_path)
    assert not (tmp_path / NAME).exists() and find_models(VoiceSettings(), [tmp_path]) == []
    site.asked.clear()
    get(site, tmp_path)
    assert is_in_place(tmp_path) and len(site.asked) == 1 and site.asked[0][0] is not None


@pytest.mark.parametrize("change", ["ignores ranges", "another version"])
def test_a_site_that_sends_the_whole_file_again_is_started_over(site: Site, tmp_path: Path, change: str) -> None:
    site.cut_at = [200_000] * download.TRIES
    with pytest.raises(CouldNotRun):
        get(site, tmp_path)
    if change == "ignores ranges":
        site.ranges = False
    else:
        site.tag = '"version-2"'
    get(site, tmp_path)
    assert is_in_place(tmp_path)


def test_what_was_kept_of_another_archive_is_not_carried_on(site: Site, tmp_path: Path) -> None:
    site.cut_at = [200_000] * download.TRIES
    with pytest.raises(CouldNotRun):
        get(site, tmp_path)
    site.body = ARCHIVE + b"\0" * 10  # a new version of the file
    site.asked.clear()
    get(site, tmp_path)
    assert site.asked == [(None, None)] and is_in_place(tmp_path)


def test_a_weak_tag_is_never_used_to_carry_on(site: Site, tmp_path: Path) -> None:
    site.tag, site.cut_at = 'W/"1"', [150_000]
    get(site, tmp_path)
    assert site.asked[1][0] is not None and site.asked[1][1] is None and is_in_place(tmp_path)


def test_a_site_that_carries_on_at_another_place_is_started_over(site: Site, tmp_path: Path) -> None:
    site.cut_at, site.shift = [150_000], -1000
    get(site, tmp_path)
    assert is_in_place(tmp_path) and [wanted is None for wanted, _ in site.asked] == [True, False, True]


def test_a_wrong_hash_removes_the_file_and_unpacks_nothing(site: Site, tmp_path: Path) -> None:
    wrong = replace(site.model(), sha256="0" * 64)
    with pytest.raises(CouldNotRun, match="wrong SHA-256.*the file was removed"):
        get(site, tmp_path, wrong)
    assert left_behind(tmp_path) == []


@pytest.mark.parametrize("difference", [-1000, 1000])
def test_a_wrong_size_is_told_before_anything_is_fetched(site: Site, tmp_path: Path, difference: int) -> None:
    wrong = replace(site.model(), bytes=len(ARCHIVE) + difference)
    steps: list[int] = []
    with pytest.raises(CouldNotRun, match="wrong size"):
        fetch(wrong, tmp_path, quiet, lambda here, _: steps.append(here))
    assert steps == [] and left_behind(tmp_path) == []


def test_a_site_whose_file_is_cut_short_gives_no_model(site: Site, tmp_path: Path) -> None:
    whole = site.model()
    site.body, site.says_length = ARCHIVE[:-5000], len(ARCHIVE)
    with pytest.raises(CouldNotRun, match="connection was lost"):
        get(site, tmp_path, whole)
    assert not (tmp_path / NAME).exists()


@pytest.mark.parametrize(
    ("code", "words"), [(404, "is no longer there"), (410, "is no longer there"), (503, "refused")]
)
def test_a_refusal_is_told_with_its_number(site: Site, tmp_path: Path, code: int, words: str) -> None:
    site.code = code
    with pytest.raises(CouldNotRun, match=f"{words}.*HTTP {code}"):
        get(site, tmp_path)
    assert left_behind(tmp_path) == []


def test_without_a_network_the_mend_is_named(site: Site, tmp_path: Path) -> None:
    # Port 1 on the loopback address: nothing listens there.
    nobody = replace(site.model(), url="http://127.0.0.1:1/x.zip")
    with pytest.raises(CouldNotRun, match="can't be reached.*connect this computer"):
        get(site, tmp_path, nobody)
    assert left_behind(tmp_path) == []


def link(name: str, kind: int) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name)
    entry.external_attr = (kind | 0o777) << 16
    return entry


UNSAFE: dict[str, dict[str | zipfile.ZipInfo, bytes]] = {
    "climbs": {f"{NAME}/../../escaped": b"x"},
    "absolute": {"/escaped": b"x"},
    "backslash": {f"{NAME}\\..\\escaped": b"x"},
    "drive": {"C:/escaped": b"x"},
    "link": {link(f"{NAME}/link", stat.S_IFLNK): b"/etc"},
    "device": {link(f"{NAME}/device", stat.S_IFCHR): b""},
    "pipe": {link(f"{NAME}/pipe", stat.S_IFIFO): b""},
    "file and folder": {f"{NAME}/a": b"x", f"{NAME}/a/b": b"x"},
    "case": {f"{NAME}/a": b"x", f"{NAME}/A": b"x"},
    "two folders": {f"{NAME}/a": b"x", "other/a": b"x"},
    "bomb": {f"{NAME}/zeros": bytes(30_000_000)},
}


WHY = {
    **dict.fromkeys(("climbs", "absolute", "backslash", "drive"), "name that leads outside the folder"),
    **dict.fromkeys(("link", "device", "pipe"), "is a link or a device"),
    **dict.fromkeys(("file and folder", "case"), "has the same name twice"),
    "two folders": "is not a single folder",
    "bomb": "is too large when unpacked",
}


@pytest.mark.parametrize("what", UNSAFE)
def test_an_unsafe_archive_writes_nothing(site: Site, tmp_path: Path, what: str) -> None:
    site.body = zipped({f"{NAME}/conf/model.conf": b"x"} | UNSAFE[what])
    into = tmp_path / "data" / "models"
    with pytest.raises(CouldNotRun, match=f"archive can't be used.*{WHY[what]}.*the file was removed"):
        get(site, into)
    assert left_behind(into) == [] and not list(tmp_path.rglob("*escaped*")) and not Path("/escaped").exists()


def test_every_unsafe_entry_is_named_at_once(tmp_path: Path) -> None:
    archive = zipped(UNSAFE["climbs"] | UNSAFE["link"] | UNSAFE["absolute"])
    with pytest.raises(BadInput) as caught:
        unpack(io.BytesIO(archive), tmp_path / "new", 10**6)
    text = str(caught.value)
    assert "../../escaped" in text and "is a link" in text and "'/escaped'" in text
    assert not (tmp_path / "new").exists()


def lying(archive: bytes, told: int) -> bytes:
    """Its only entry gives a wrong unpacked size, in both places (APPNOTE.TXT, 4.3.7 and 4.3.12)."""
    data = bytearray(archive)
    central = data.rindex(b"PK\x01\x02")
    data[22:26] = data[central + 24 : central + 28] = struct.pack("<I", told)
    return bytes(data)


@pytest.mark.parametrize("told", [10, 5000])
def test_no_more_is_unpacked_than_the_archive_says(tmp_path: Path, told: int) -> None:
    archive = lying(zipped({f"{NAME}/a": bytes(1000)}), told)
    with pytest.raises(BadInput, match="the archive"):
        unpack(io.BytesIO(archive), tmp_path / "new", 10**6)
    assert sum(p.stat().st_size for p in (tmp_path / "new").rglob("*") if p.is_file()) <= min(told, 1000)


def test_an_archive_that_holds_no_model_is_not_put_in_place(site: Site, tmp_path: Path) -> None:
    site.body = zipped({f"{NAME}/readme.txt": b"x"})
    with pytest.raises(CouldNotRun, match="am/final.mdl: is missing"):
        get(site, tmp_path)
    assert left_behind(tmp_path) == []


@pytest.mark.parametrize("data", [b"", b"no archive at all" * 100])
def test_what_is_no_archive_is_told(tmp_path: Path, data: bytes) -> None:
    with pytest.raises(BadInput, match="is damaged"):
        unpack(io.BytesIO(data), tmp_path / "new", 10**6)


# --- ended in the middle ---

CHILD = """
import json, sys, time
from pathlib import Path
from assistant.hearing import download
if sys.argv[3] == "unpacking":
    plain = download._unpack_one
    def slowly(opened, entry, into):
        plain(opened, entry, into)
        print("unpacked", flush=True)
        time.sleep(0.5)
    download._unpack_one = slowly
def progress(here, total):
    print("here", here, flush=True)
download.fetch(download.KnownModel(**json.loads(sys.argv[1])), Path(sys.argv[2]), lambda line: None, progress)
"""


@contextmanager
def child_at(site: Site, into: Path, stage: str) -> Iterator[subprocess.Popen[str]]:
    """A process that is downloading and has just reported this stage."""
    words = [sys.executable, "-c", CHILD, json.dumps(asdict(site.model())), str(into), stage]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, cwd=ROOT) as child:
        assert child.stdout is not None
        try:
            awaited = "unpacked" if stage == "unpacking" else "here"
            assert any(line.startswith(awaited) for line in child.stdout)
            yield child
        finally:
            child.kill()


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL")
def test_killed_while_downloading_it_carries_on(site: Site, tmp_path: Path) -> None:
    site.chunk_pause = 0.1
    with child_at(site, tmp_path, "downloading") as child:
        child.send_signal(signal.SIGKILL)
        child.wait()
    assert not (tmp_path / NAME).exists() and find_models(VoiceSettings(), [tmp_path]) == []
    site.chunk_pause = 0.0
    get(site, tmp_path)
    assert is_in_place(tmp_path) and site.asked[-1][0] is not None


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL")
def test_killed_while_unpacking_no_half_model_is_seen_and_nothing_is_fetched_twice(site: Site, tmp_path: Path) -> None:
    with child_at(site, tmp_path, "unpacking") as child:
        child.send_signal(signal.SIGKILL)
        child.wait()
    assert any("unpacking" in name for name in left_behind(tmp_path))
    assert find_models(VoiceSettings(), [tmp_path]) == []
    get(site, tmp_path)
    assert is_in_place(tmp_path) and len(site.asked) == 1


def test_two_at_once_the_second_is_told_so(site: Site, tmp_path: Path) -> None:
    with child_at(site, tmp_path, "unpacking") as child:
        with pytest.raises(CouldNotRun, match="another Kerfcall is downloading"):
            get(site, tmp_path)
        assert child.wait(20) == 0
    assert is_in_place(tmp_path)


# --- the disk ---


@contextmanager
def not_root() -> Iterator[None]:
    """Root may write anywhere: step down for a while."""
    root = hasattr(os, "geteuid") and os.geteuid() == 0
    if root:
        os.seteuid(65534)
    try:
        yield
    finally:
        if root:
            os.seteuid(0)


@pytest.mark.skipif(sys.platform == "win32", reason="folders are not made read-only by mode there")
def test_a_folder_that_may_not_be_written_is_named(site: Site) -> None:
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o555)
    try:
        with not_root(), pytest.raises(CouldNotRun, match="can't write to .*make the folder writable"):
            get(site, folder / "models")
        assert site.asked == [] and list(folder.iterdir()) == []
    finally:
        folder.chmod(0o755)
        shutil.rmtree(folder)


@contextmanager
def files_up_to(size: int) -> Iterator[None]:
    """The system itself refuses to let a file grow further, as a full disk would."""
    import resource

    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.skipif(sys.platform == "win32", reason="no RLIMIT_FSIZE")
def test_a_disk_that_fills_while_downloading_keeps_nothing(site: Site, tmp_path: Path) -> None:
    with files_up_to(100_000), pytest.raises(CouldNotRun, match="is full, .*; make room"):
        get(site, tmp_path)
    assert left_behind(tmp_path) == []


def test_a_disk_that_fills_while_unpacking_keeps_the_archive_only(
    site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch, pytest.raises(CouldNotRun, match="is full, .*; make room"):
        patch.setattr(os, "fsync", full)
        get(site, tmp_path)
    assert [name.rsplit(".", 1)[1] for name in left_behind(tmp_path)] == ["json", "part"]
    get(site, tmp_path)
    assert is_in_place(tmp_path) and len(site.asked) == 1


def test_too_little_room_is_told_before_fetching(site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    usage: Callable[[object], object] = lambda _: shutil._ntuple_diskusage(10**9, 10**9 - 1000, 1000)  # noqa: E731
    monkeypatch.setattr(shutil, "disk_usage", usage)
    with pytest.raises(CouldNotRun, match="too full"):
        get(site, tmp_path)
    assert site.asked == [] and left_behind(tmp_path) == []


def test_where_the_move_fails_the_old_folder_comes_back(
    site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / NAME / "am").mkdir(parents=True)
    (tmp_path / NAME / "am" / "mine").write_text("x")
    plain = os.rename

    def refused(source: Path, target: Path) -> None:
        if "unpacking" in str(source):
            raise PermissionError(errno.EACCES, "in use")
        plain(source, target)

    monkeypatch.setattr(os, "rename", refused)
    with pytest.raises(CouldNotRun, match="in use"):
        get(site, tmp_path)
    assert (tmp_path / NAME / "am" / "mine").exists()


# --- the table ---


def test_the_table_comes_with_the_package(tmp_path: Path) -> None:
    """It needs no file that only a checkout has."""
    shutil.copytree(ROOT / "assistant", tmp_path / "assistant", ignore=shutil.ignore_patterns("__pycache__"))
    code = "from assistant.hearing import download as d; print(d.TABLE); print(d.known_models()[0].name)"
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True)
    where, name = done.stdout.split()
    assert Path(where).resolve() == (tmp_path / "assistant/hearing/models.toml").resolve()
    assert name == known_models()[0].name


def test_the_table_is_whole_and_over_https() -> None:
    assert all(model.url.startswith("https://") and model.url.endswith(".zip") for model in known_models())


def test_every_fault_of_a_table_is_told_at_once(tmp_path: Path) -> None:
    table = tmp_path / "models.toml"
    table.write_text('[[models]]\nname = "../up"\nbytes = true\nurl = "file:///etc/passwd"\n')
    with pytest.raises(BadInput) as caught:
        known_models(table)
    told = {fault.what.split()[0] for fault in caught.value.faults}
    assert told == {"name", "bytes", "url", "recogniser", "language", "licence", "sha256"}


def test_picking_by_name_by_language_or_not_at_all() -> None:
    models = known_models()
    assert pick(models, None, "en") == pick(models, "vosk-model-small-en-us-0.15", "ko")
    with pytest.raises(BadInput, match="did you mean vosk-model-small-en-us-0.15"):
        pick(models, "vosk-small-en", "en")
    with pytest.raises(BadInput, match="no model is listed"):
        pick(models, None, "xx")


def test_the_small_model_of_these_tests_is_one() -> None:
    with tempfile.TemporaryDirectory() as folder:
        assert model_faults(unpack(io.BytesIO(ARCHIVE), Path(folder) / "new", 10**7)) == []
