"""A file that is written over is either the old one or the new one."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from experiments.output_file import write_whole

ENDLESS = """
import sys
from pathlib import Path
from experiments.output_file import write_whole
n = 0
while True:
    write_whole(Path(sys.argv[1]), bytes([n % 256]) * 3_000_000)
    n += 1
    print(n, flush=True)
"""


def test_a_file_is_written_and_written_over(tmp_path):
    path = tmp_path / "a.zip"
    for data in (b"one", b"", b"three"):
        write_whole(path, data)
        assert path.read_bytes() == data
    assert os.listdir(tmp_path) == ["a.zip"]


def test_a_link_is_followed_and_a_device_is_written_to(tmp_path):
    (tmp_path / "link").symlink_to(tmp_path / "target")
    write_whole(tmp_path / "link", b"x")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "target").read_bytes() == b"x"
    read, write = os.pipe()
    write_whole(Path(f"/dev/fd/{write}"), b"through a pipe")
    assert os.read(read, 100) == b"through a pipe"
    os.close(read)
    os.close(write)


@pytest.mark.parametrize("name", ["nowhere/a.zip", "."])
def test_what_cannot_be_written_is_named(tmp_path, name):
    with pytest.raises(OSError, match="a.zip|directory") as caught:
        write_whole(tmp_path / name, b"x")
    assert caught.value.filename == str(tmp_path / name)
    assert os.listdir(tmp_path) == []


def test_a_full_disk_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "a.zip"
    write_whole(path, b"old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match=r"No space left on device.*a\.zip"):
        write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["a.zip"]


def test_a_killed_program_leaves_a_whole_file(tmp_path):
    path = tmp_path / "a.zip"
    process = subprocess.Popen([sys.executable, "-c", ENDLESS, str(path)],
                               stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    for _ in range(8):
        process.stdout.readline()
    process.kill()
    process.communicate()
    data = path.read_bytes()
    assert len(data) == 3_000_000
    assert len(set(data)) == 1
