"""`--scheduler`: a scheduler and workers started by their own commands, some of them killed."""

from __future__ import annotations

import json
import re
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from habmap.errors import InputError
from habmap.region import engine

pytest.importorskip("distributed")
DASK = [sys.executable, "-m", "dask"]


@contextmanager
def started(*words: str) -> Iterator[tuple[subprocess.Popen[str], list[str]]]:
    """Run a program of the cluster's own for a while; what it says is gathered."""
    process = subprocess.Popen([*DASK, *words], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    said: list[str] = []

    def listen() -> None:
        assert process.stderr is not None
        said.extend(iter(process.stderr.readline, ""))

    listener = threading.Thread(target=listen, daemon=True)
    listener.start()
    try:
        yield process, said
    finally:
        process.kill()
        process.wait()
        listener.join(timeout=10)
        if process.stderr is not None:
            process.stderr.close()


def until(said: list[str], pattern: str) -> re.Match[str]:
    """Wait for words."""
    limit = time.monotonic() + 90
    while time.monotonic() < limit:
        found = re.search(pattern, "".join(said))
        if found:
            return found
        time.sleep(0.05)
    raise AssertionError("".join(said))


def worker(address: str, name: str, folder: Path) -> list[str]:
    return ["worker", address, "--nworkers", "1", "--nthreads", "1", "--no-dashboard", "--no-nanny", "--name", name,
            "--local-directory", str(folder)]  # fmt: skip


def ask(region: Path, words, output: Path, *more: object) -> list[str]:
    return words("region", "terrain", region / "stands.gpkg", region / "ground.tif", "-o", output, "--part-cells", 64,
                 "--json", *more)  # fmt: skip


def parts(output: Path) -> int:
    return len(list(output.with_name(f"{output.name}.parts").glob("part-*.bin")))


def test_a_cluster_gives_the_same_bytes_though_a_worker_and_then_the_scheduler_are_lost(
    region, wanted, words, tmp_path
) -> None:
    with started("scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard") as (scheduler, said):
        address = until(said, r"Scheduler at:\s+(tcp://\S+)").group(1)
        with (
            started(*worker(address, "one", tmp_path / "a")) as (_one, said_one),
            started(*worker(address, "two", tmp_path / "b")) as (two, said_two),
        ):
            until(said_one, "Registered to")
            until(said_two, "Registered to")
            output = tmp_path / "x.csv"
            process = subprocess.Popen(
                ask(region, words, output, "--scheduler", address), stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                text=True,
            )  # fmt: skip
            while parts(output) < 5 and process.poll() is None:
                time.sleep(0.02)
            two.kill()
            told, told_words = process.communicate(timeout=240)
            assert process.returncode == 0, told + told_words
            assert json.loads(told)["stands"] == 160
            assert output.read_bytes() == wanted

            later = tmp_path / "y.csv"
            process = subprocess.Popen(
                ask(region, words, later, "--scheduler", address), stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                text=True,
            )  # fmt: skip
            while parts(later) < 5 and process.poll() is None:
                time.sleep(0.02)
            scheduler.kill()
            told, told_words = process.communicate(timeout=240)
            assert process.returncode == 3, told + told_words
            assert "--resume" in told and not later.exists()
    before = parts(later)
    assert before >= 5
    again = subprocess.run(
        ask(region, words, later, "--workers", 1, "--resume"), capture_output=True, text=True, check=False
    )
    assert again.returncode == 0, again.stderr
    assert json.loads(again.stdout)["kept_parts"] == before
    assert later.read_bytes() == wanted


def test_no_scheduler_is_said(monkeypatch) -> None:
    monkeypatch.setattr(engine, "CONNECT_S", 0.5)
    with pytest.raises(InputError, match="no scheduler answers"):
        engine.engine_for(workers=None, scheduler="tcp://127.0.0.1:9")


def test_a_stranger_at_the_address_is_no_scheduler(monkeypatch) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setattr(engine, "CONNECT_S", 0.5)
    stranger = socket.create_server(("127.0.0.1", 0))  # takes the call, and never says a word
    with stranger, pytest.raises(InputError, match="no scheduler answers"):
        engine.engine_for(workers=None, scheduler=f"tcp://127.0.0.1:{stranger.getsockname()[1]}")
