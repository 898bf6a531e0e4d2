"""Sites on other machines: what travels, what comes back, and a worker that is killed."""

from __future__ import annotations

import io
import json
import os
import re
import signal
import sys
import tempfile
import threading
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.batch.cluster import (
    cluster_at,
    make_site,
    pack,
    packed_site,
    report_on_cluster,
    unpack,
)
from solarcalc.batch.run import report_sites
from solarcalc.checking.kept import package_digest
from solarcalc.sitefile.read import read_site

ROOT = Path(__file__).resolve().parent.parent
NAMES = some.text("abc", min_size=1, max_size=3)


@given(some.dictionaries(some.lists(NAMES, min_size=1, max_size=3).map("/".join),
                         some.binary(max_size=40), max_size=6))
@settings(max_examples=40, deadline=None)
def test_a_folder_comes_back_as_it_was_without_the_reports_before(files: dict[str, bytes]) -> None:
    kept = {name: raw for name, raw in files.items()
            if not any(other.startswith(f"{name}/") for other in files)}  # fmt: skip
    with tempfile.TemporaryDirectory() as place:
        one, two = Path(place, "one"), Path(place, "two")
        for name, raw in {**kept, "earlier/x": b"old"}.items():
            (one / name).parent.mkdir(parents=True, exist_ok=True)
            (one / name).write_bytes(raw)
        two.mkdir()
        unpack(pack(one), two)
        assert {path.relative_to(two).as_posix(): path.read_bytes()
                for path in two.rglob("*") if path.is_file()} == kept
        unpack(pack(one, list(kept), below="site"), two)
        assert {path.relative_to(two / "site").as_posix(): path.read_bytes()
                for path in (two / "site").rglob("*") if path.is_file()} == kept


@pytest.mark.parametrize("name", ["../a", "/etc/a", "a/../../b", "..\\a"])
def test_what_leads_out_of_the_folder_is_refused(name: str, tmp_path: Path) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr(name, "x")
    with pytest.raises(ValueError, match="leads out"):
        unpack(out.getvalue(), tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("site", [*demo_sites()])
def test_a_parcel_opens_elsewhere_as_the_same_site(site: str, tmp_path: Path) -> None:
    """Every file that the site names is in it; files of several sites have one digest."""
    own = read_site(demo_sites()[site])
    parcel, contents, names = packed_site(own)
    for name, digest in parcel.files.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(contents[digest])
    there = read_site(tmp_path / parcel.site)
    assert there.site == own.site
    assert str(own.path.absolute()) in names
    if not own.site.weather.source.startswith("library:") and own.site.weather.source.endswith(
            (".csv", ".epw", ".tm2", ".tmy3")):
        assert (there.folder / own.site.weather.source).is_file()
    if own.site.logger.file:
        assert (there.folder / own.site.logger.file).is_file()


def test_a_whole_path_does_not_travel(tmp_path: Path) -> None:
    site = tmp_path / "a.toml"
    logo = tmp_path / "logo.svg"
    logo.write_text('<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>')
    text = demo_sites()["ridge-clinic"].read_text(encoding="utf-8")
    site.write_text(text, encoding="utf-8")
    assert packed_site(read_site(site))
    site.write_text(re.sub(r'^note = ".*"$', f'note = "{logo}"', text, flags=re.MULTILINE),
                    encoding="utf-8")  # fmt: skip
    with pytest.raises(InputError, match="a whole path"):
        packed_site(read_site(site))


def test_another_version_makes_nothing() -> None:
    parcel, contents, _ = packed_site(read_site(demo_sites()["ridge-clinic"]))
    why, content = make_site(parcel, list(contents.values()), b"", ("QU",), "another")
    assert "another version of solarcalc" in why
    assert content == b""
    assert len(package_digest()) == 64


def test_without_the_extra_the_words_say_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match="cluster"), cluster_at("tcp://127.0.0.1:1"):
        pass


# On a cluster of this machine -----------------------------------------------------------------

@pytest.fixture
def cluster(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """Two workers, each a process of its own."""
    distributed = pytest.importorskip("distributed", reason="the extra 'cluster' is missing")
    path = os.pathsep.join([str(ROOT), str(Path(distributed.__file__).parents[1])])
    monkeypatch.setenv("PYTHONPATH", path)
    with distributed.LocalCluster(n_workers=2, processes=True, threads_per_worker=1,
                                  dashboard_address=None) as running:  # fmt: skip
        yield running


def own_sites(folder: Path, count: int) -> list[Path]:
    text = demo_sites()["ridge-clinic"].read_text(encoding="utf-8")
    found = []
    for each in range(count):
        path = folder / f"s{each}.toml"
        path.write_text(text.replace('name = "Ridge Road Clinic"', f'name = "S{each}"'),
                        encoding="utf-8")  # fmt: skip
        os.utime(path, (1.0, 1.0))
        found.append(path)
    return found


def facts(folder: Path) -> Any:
    record = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    record["site"].pop("made")
    return record


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_a_killed_worker_loses_nothing(cluster: Any, tmp_path: Path) -> None:
    sites = own_sites(tmp_path, 5)
    out, killed = tmp_path / "out", []

    def told(record: Any) -> None:
        if record.get("state") == "made" and not killed:
            pids = [one.pid for one in cluster.workers.values()]
            killed.extend(pids[:1])
            os.kill(pids[0], signal.SIGKILL)

    address = cluster.scheduler_address
    result = report_on_cluster(sites, out, documents=["QU"], scheduler=address, told=told)
    assert killed
    assert result.failed == ()
    assert len(result.done) == 5
    here = tmp_path / "here"
    report_sites(sites[:1], here, documents=["QU"])
    assert facts(out / "s0") == facts(here / "s0")
    assert {path.name for path in (out / "s0").iterdir()} == {
        path.name for path in (here / "s0").iterdir()}
    again = report_on_cluster(sites, out, documents=["QU"], scheduler="tcp://127.0.0.1:1")
    assert len(again.unchanged) == 5, "nobody is asked where nothing has changed"
    sites[0].write_text(sites[0].read_text(encoding="utf-8").replace(
        "tilt_deg = 35.0", "tilt_deg = 34.0"), encoding="utf-8")
    os.utime(sites[0], (2.0, 2.0))
    result = report_on_cluster(sites, out, documents=["QU"], scheduler=address)
    assert [slug for slug, _ in result.done] == ["s0"]
    assert (out / "s0" / "changes.json").is_file()
    assert len(list((out / "s0" / "earlier").iterdir())) == 1


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_nobody_at_an_address_is_told(cluster: Any, tmp_path: Path) -> None:
    began_s = time.monotonic()
    with pytest.raises(InputError, match="--scheduler"):
        report_on_cluster(own_sites(tmp_path, 1), tmp_path / "out", documents=["QU"],
                          scheduler="tcp://127.0.0.1:9")  # fmt: skip
    assert time.monotonic() - began_s < 60.0


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("lost", ["workers", "scheduler"])
def test_a_cluster_that_is_lost_is_told_and_not_waited_for(
    cluster: Any, lost: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Workers do not come back where no process is left that would start them again."""
    monkeypatch.setattr("solarcalc.batch.cluster.WORKERLESS_S", 2.0)
    monkeypatch.setattr("solarcalc.batch.cluster._LOOK_S", 0.5)
    out = tmp_path / "out"

    def told(record: Any) -> None:
        if record["event"] == "begin":
            cluster.scale(0)
            cluster.sync(cluster._correct_state)

    began_s = time.monotonic()
    if lost == "workers":
        with pytest.raises(InputError, match="no worker for"):
            report_on_cluster(own_sites(tmp_path, 2), out, documents=["QU"], told=told,
                              scheduler=cluster.scheduler_address)  # fmt: skip
    else:
        threading.Timer(3.0, lambda: cluster.sync(cluster.scheduler.close)).start()
        result = report_on_cluster(own_sites(tmp_path, 2), out, documents=["QU"],
                                   scheduler=cluster.scheduler_address)  # fmt: skip
        assert len(result.failed) == 2
        assert all("on the cluster" in reason for _, reason in result.failed)
    assert time.monotonic() - began_s < 100.0
    assert (out / "index.html").is_file()
