"""Outputs are whole or absent."""

import os
import stat

import pytest
from unprivileged import unprivileged

from hillproof.log_args import check_outputs
from importers.errors import UsageError
from reports.write import check_writable, write_folder, write_outputs


def test_writes_and_replaces(tmp_path):
    place = tmp_path / "räder und mehr" / "out.json"
    place.parent.mkdir()
    place.write_text("old")
    write_outputs({str(place): "new ü", str(place.with_suffix(".bin")): b"\x00\xff"})
    assert place.read_text("utf-8") == "new ü"
    assert place.with_suffix(".bin").read_bytes() == b"\x00\xff"
    assert sorted(p.name for p in place.parent.iterdir()) == ["out.bin", "out.json"]


def test_a_missing_folder_leaves_every_file_as_it_was(tmp_path):
    good = tmp_path / "good.json"
    good.write_text("old")
    with pytest.raises(UsageError, match=r"not written.*does not exist"):
        write_outputs({str(good): "new", str(tmp_path / "none" / "bad.html"): "new"})
    assert good.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["good.json"]


def test_a_folder_is_no_file(tmp_path):
    with pytest.raises(UsageError, match="that is a folder"):
        check_writable(str(tmp_path))


def test_a_folder_without_the_right_to_write():
    with unprivileged() as place:
        place.chmod(0o500)
        with pytest.raises(UsageError, match="no right to write"):
            check_writable(str(place / "x.json"))
        with pytest.raises(UsageError, match="not written"):
            write_outputs({str(place / "r.html"): "new"})
        assert not list(place.iterdir())


def test_a_report_into_a_closed_folder_is_refused_before_the_work():
    with unprivileged() as place:
        place.chmod(0o500)
        with pytest.raises(UsageError, match="no permission"):
            check_outputs({"--report": str(place / "r.html"), "--json": None}, [])


def test_a_full_disk_is_one_message_and_no_half_file(tmp_path, monkeypatch):
    place = tmp_path / "out.html"
    place.write_text("old")

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(UsageError, match="not written: No space left on device"):
        write_outputs({str(place): "new"})
    assert place.read_text() == "old"
    assert len(list(tmp_path.iterdir())) == 1


def test_rights_follow_the_file_replaced_or_the_mask(tmp_path):
    place = tmp_path / "out.html"
    place.write_text("old")
    place.chmod(0o640)
    write_outputs({str(place): "new"})
    assert stat.S_IMODE(place.stat().st_mode) == 0o640
    before = os.umask(0o027)
    try:
        write_outputs({str(tmp_path / "fresh.html"): "new"})
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "fresh.html").stat().st_mode) == 0o640


def test_a_link_stays_a_link(tmp_path):
    target, link = tmp_path / "real.json", tmp_path / "link.json"
    target.write_text("old")
    link.symlink_to(target)
    write_outputs({str(link): "new"})
    assert link.is_symlink()
    assert target.read_text() == "new"


def test_dash_is_standard_output(capfdbinary):
    write_outputs({"-": "näher\n"})
    assert capfdbinary.readouterr().out == "näher\n".encode()


def test_a_pipe_is_written_into_and_stays_a_pipe(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    write_outputs({str(pipe): "told", str(tmp_path / "f.txt"): "kept"})
    assert os.read(reader, 10) == b"told"
    os.close(reader)
    assert pipe.is_fifo()
    assert (tmp_path / "f.txt").read_text() == "kept"


PAGES = [("plots.js", b"x"), ("ride.html", "räder"), ("index.html", "all")]


def _full_at(monkeypatch, call):
    """The disk is full from the n-th file on."""
    real, calls = os.fsync, []

    def fsync(handle):
        calls.append(handle)
        if len(calls) >= call:
            raise OSError(28, "No space left on device")
        real(handle)

    monkeypatch.setattr(os, "fsync", fsync)


def test_a_folder_of_pages_stands_whole(tmp_path):
    place = tmp_path / "pages"
    write_folder(str(place), iter(PAGES))
    assert {one.name: one.read_bytes() for one in place.iterdir()} == {
        "plots.js": b"x", "ride.html": "räder".encode(), "index.html": b"all"
    }  # fmt: skip
    assert [one.name for one in tmp_path.iterdir()] == ["pages"]
    mask = os.umask(0)
    os.umask(mask)
    assert stat.S_IMODE(place.stat().st_mode) == 0o777 & ~mask


@pytest.mark.parametrize("call", [1, 2, 3])
def test_a_full_disk_leaves_no_folder(tmp_path, monkeypatch, call):
    _full_at(monkeypatch, call)
    place = tmp_path / "pages"
    with pytest.raises(UsageError, match="No space left") as told:
        write_folder(str(place), iter(PAGES))
    assert told.value.where == str(place)
    assert not list(tmp_path.iterdir())


def test_a_full_disk_leaves_an_old_folder_as_it_was(tmp_path, monkeypatch):
    place = tmp_path / "pages"
    write_folder(str(place), [("index.html", "old"), ("gone.html", "old")])
    (place / "mine.txt").write_text("mine")
    _full_at(monkeypatch, 3)
    with pytest.raises(UsageError, match="No space left"):
        write_folder(str(place), iter(PAGES))
    assert {one.name: one.read_text() for one in place.iterdir()} == {
        "index.html": "old", "gone.html": "old", "mine.txt": "mine"
    }  # fmt: skip


def test_pages_that_cannot_be_made_leave_no_folder(tmp_path):
    def broken():
        yield PAGES[0]
        raise RuntimeError("a ride that cannot be judged")

    with pytest.raises(RuntimeError):
        write_folder(str(tmp_path / "pages"), broken())
    assert not list(tmp_path.iterdir())


def test_no_folder_in_no_folder_nor_in_place_of_a_file(tmp_path):
    with pytest.raises(UsageError, match="the folder above it does not exist"):
        write_folder(str(tmp_path / "none" / "pages"), iter(PAGES))
    (tmp_path / "file").write_text("mine")
    with pytest.raises(UsageError, match="is a file"):
        write_folder(str(tmp_path / "file"), iter(PAGES))
    assert (tmp_path / "file").read_text() == "mine"
