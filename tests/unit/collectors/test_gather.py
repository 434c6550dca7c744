"""Asking devices: whatever one of them does costs its own evidence and no more time than it has."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coverage_audit.collectors import errand_process
from coverage_audit.collectors.errand_process import ErrandProcess
from coverage_audit.collectors.errands import LookAgain
from coverage_audit.collectors.gather import gather, look_again
from coverage_audit.collectors.transport import TransportError
from coverage_audit.errors import CollectionError
from coverage_audit.estate.access import LocalAccess, ShelfAccess
from coverage_audit.estate.limits import Limits
from coverage_audit.evidence.collected import Answer, Question
from coverage_audit.evidence.facts import DeviceFacts, Gap, GapKind, PointList, VolumeFacts
from coverage_audit.evidence.manifest import CompleteManifest
from coverage_audit.evidence.store import rows
from tests.builders.limits import some_limits
from tests.builders.questions import a_device, a_question, an_address
from tests.builders.trees import a_tree
from tests.parts.processes import descendants
from tests.parts.sshd import Box, StartSshd
from tests.parts.waiting import wait_for

NOW = datetime(2026, 11, 25, 4, 10, tzinfo=UTC)


@pytest.fixture
def staging(tmp_path: Path) -> Path:
    (tmp_path / "staging").mkdir()
    return tmp_path / "staging"


def asked(
    questions: Sequence[Question],
    staging: Path,
    limits: Limits | None = None,
    progress: Callable[[str, int], None] = lambda _subject, _entries: None,
) -> tuple[Answer, ...]:
    return gather(
        questions,
        limits=limits or some_limits(),
        staging=staging,
        seed=b"0123456789abcdef",
        clock=lambda: datetime.now(UTC),  # noqa: TID251 - the auditor's own clock, as the command line hands it over
        progress=progress,
    )


def gap_of(outcome: object) -> Gap:
    assert isinstance(outcome, Gap), outcome
    return outcome


def test_a_local_device_answers_with_facts_volumes_and_manifests(tmp_path: Path, staging: Path) -> None:
    a_tree(tmp_path / "main" / "recordings", 30)
    device = a_device("kestrel", {"main": tmp_path / "main"})
    (answer,) = asked([a_question(device, ["kestrel:main/recordings"])], staging)
    assert isinstance(answer.facts, DeviceFacts)
    assert answer.facts.over == "local"
    assert answer.facts.clock_offset == timedelta(0)
    assert answer.facts.host_key is None
    assert isinstance(answer.volumes[0], VolumeFacts)
    (tree,) = answer.trees
    assert isinstance(tree.outcome, CompleteManifest)
    assert tree.outcome.census.files == 30
    assert tree.outcome.origin.root == str(tmp_path / "main" / "recordings")
    assert tree.outcome.file.parent == staging
    assert len(list(rows(tree.outcome.file))) == 31


def test_the_whole_volume_may_be_the_tree(tmp_path: Path, staging: Path) -> None:
    a_tree(tmp_path / "main", 3)
    (answer,) = asked([a_question(a_device("kestrel", {"main": tmp_path / "main"}), ["kestrel:main"])], staging)
    outcome = answer.trees[0].outcome
    assert isinstance(outcome, CompleteManifest)
    assert outcome.origin.root == str(tmp_path / "main")


def test_answers_come_in_the_order_of_the_questions_with_files_of_their_own(tmp_path: Path, staging: Path) -> None:
    names = [f"avocet-{number}" for number in range(6)]
    questions = []
    for number, name in enumerate(names):
        a_tree(tmp_path / name / "a", number + 1)
        a_tree(tmp_path / name / "b", 20 + number)
        questions.append(a_question(a_device(name, {"main": tmp_path / name}), [f"{name}:main/a", f"{name}:main/b"]))
    answers = asked(questions, staging)
    assert [answer.device.id for answer in answers] == names
    counts = [[_files(tree.outcome) for tree in answer.trees] for answer in answers]
    assert counts == [[number + 1, 20 + number] for number in range(6)]
    assert len(list(staging.glob("*.parquet"))) == 12


def _files(outcome: object) -> int:
    assert isinstance(outcome, CompleteManifest), outcome
    return outcome.census.files


def test_a_volume_that_is_not_there_is_missing_with_all_that_lies_on_it(tmp_path: Path, staging: Path) -> None:
    a_tree(tmp_path / "main" / "recordings", 3)
    device = a_device("kestrel", {"main": tmp_path / "main", "pool": tmp_path / "nowhere"})
    question = a_question(
        device, ["kestrel:pool/mirror", "kestrel:main/recordings"], {"kestrel:pool/{point}/recordings": "%Y-%m-%d"}
    )
    (answer,) = asked([question], staging)
    assert gap_of(answer.volumes[1]).kind is GapKind.MISSING
    trees = {str(tree.address): tree.outcome for tree in answer.trees}
    assert gap_of(trees["kestrel:pool/mirror"]).kind is GapKind.MISSING
    assert gap_of(trees["kestrel:pool/mirror"]).subject == "kestrel:pool/mirror"
    assert gap_of(answer.points[0].outcome).kind is GapKind.MISSING
    assert isinstance(trees["kestrel:main/recordings"], CompleteManifest)


def test_a_tree_that_is_not_there_costs_that_tree_alone(tmp_path: Path, staging: Path) -> None:
    a_tree(tmp_path / "main" / "recordings", 3)
    device = a_device("kestrel", {"main": tmp_path / "main"})
    (answer,) = asked([a_question(device, ["kestrel:main/gone", "kestrel:main/recordings"])], staging)
    trees = {str(tree.address): tree.outcome for tree in answer.trees}
    assert gap_of(trees["kestrel:main/gone"]).kind is GapKind.MISSING
    assert isinstance(trees["kestrel:main/recordings"], CompleteManifest)
    assert len(list(staging.iterdir())) == 1, "nothing is left of what was not proven"


def test_an_empty_tree_is_a_complete_manifest_of_nothing(tmp_path: Path, staging: Path) -> None:
    (tmp_path / "main").mkdir()
    (answer,) = asked([a_question(a_device("kestrel", {"main": tmp_path / "main"}), ["kestrel:main"])], staging)
    assert _files(answer.trees[0].outcome) == 0


def test_the_newest_dated_point_is_walked_and_the_next_where_that_is_skipped(tmp_path: Path, staging: Path) -> None:
    for number, day in enumerate(("2026-11-22", "2026-11-23", "2026-11-24"), start=1):
        a_tree(tmp_path / "pool" / day / "recordings", number)
    (tmp_path / "pool" / "lost+found").mkdir()
    device = a_device("heron", {"pool": tmp_path / "pool"})
    pointed = {"heron:pool/{point}/recordings": "%Y-%m-%d"}
    (answer,) = asked([a_question(device, [], pointed)], staging)
    listed = answer.points[0].outcome
    assert isinstance(listed, PointList)
    assert [point.name for point in listed.points] == ["2026-11-22", "2026-11-23", "2026-11-24"]
    (tree,) = answer.trees
    assert (str(tree.address), tree.point_of) == (
        "heron:pool/2026-11-24/recordings",
        an_address("heron:pool/{point}/recordings"),
    )
    assert _files(tree.outcome) == 3
    skipping = a_question(device, [], pointed, ["heron:pool/2026-11-24/recordings"])
    (answer,) = asked([skipping], staging)
    assert _files(answer.trees[0].outcome) == 2


def test_a_point_without_the_dataset_in_it_is_a_gap_that_says_of_which_copy(tmp_path: Path, staging: Path) -> None:
    a_tree(tmp_path / "pool" / "2026-11-24" / "other", 1)
    device = a_device("heron", {"pool": tmp_path / "pool"})
    (answer,) = asked([a_question(device, [], {"heron:pool/{point}/recordings": "%Y-%m-%d"})], staging)
    (tree,) = answer.trees
    assert gap_of(tree.outcome).kind is GapKind.MISSING
    assert tree.point_of == an_address("heron:pool/{point}/recordings")


def test_a_device_on_the_shelf_is_not_asked(tmp_path: Path, staging: Path) -> None:
    device = a_device("shelf-b", {"drive": tmp_path}, ShelfAccess())
    (answer,) = asked([a_question(device, ["shelf-b:drive/recordings"])], staging)
    for outcome in (answer.facts, answer.volumes[0], answer.trees[0].outcome):
        assert gap_of(outcome).kind is GapKind.SHELF


def test_progress_is_told_of_each_tree(box: Box, tmp_path: Path, staging: Path) -> None:
    a_tree(tmp_path / "main" / "recordings", 3000)
    told: list[tuple[str, int]] = []
    device = a_device("heron", {"main": tmp_path / "main"}, box.access)
    asked([a_question(device, ["heron:main/recordings"])], staging, progress=lambda s, n: told.append((s, n)))
    assert {subject for subject, _ in told} == {"heron:main/recordings"}


def hanging(start_sshd: StartSshd, folder: Path) -> Question:
    """A box that does nothing at all once it is asked for anything; it has three seconds."""
    access = replace(start_sshd("ForceCommand sleep 600").access, time_limit=timedelta(seconds=3))
    return a_question(a_device("curlew", {"main": folder}, access), ["curlew:main/recordings"])


def test_a_box_that_hangs_is_given_up_in_time_and_the_others_are_judged(
    start_sshd: StartSshd, tmp_path: Path, staging: Path
) -> None:
    a_tree(tmp_path / "main" / "recordings", 3)
    kestrel = a_question(a_device("kestrel", {"main": tmp_path / "main"}), ["kestrel:main/recordings"])
    started = time.monotonic()
    hung, well = asked([hanging(start_sshd, tmp_path), kestrel], staging, some_limits(read_time=60))
    assert time.monotonic() - started < 30
    for outcome in (hung.facts, hung.volumes[0], hung.trees[0].outcome):
        assert gap_of(outcome).kind is GapKind.TIME_LIMIT
    assert _files(well.trees[0].outcome) == 3


@contextmanager
def worker_meets(what: int) -> Iterator[None]:
    """Send a signal to the first worker that this test process starts."""

    def strike() -> None:
        assert wait_for(lambda: any(map(_is_worker, descendants(os.getpid()))))
        time.sleep(0.5)
        for number in filter(_is_worker, descendants(os.getpid())):
            os.kill(number, what)

    thread = threading.Thread(target=strike)
    thread.start()
    yield
    thread.join()


def _is_worker(number: int) -> bool:
    try:
        return b"coverage_audit.collectors.worker" in Path(f"/proc/{number}/cmdline").read_bytes()
    except OSError:
        return False


def test_a_worker_that_is_killed_becomes_gaps(start_sshd: StartSshd, tmp_path: Path, staging: Path) -> None:
    patient = a_question(
        a_device("curlew", {"main": tmp_path}, start_sshd("ForceCommand sleep 600").access), ["curlew:main/recordings"]
    )
    with worker_meets(signal.SIGKILL):
        (answer,) = asked([patient], staging)
    for outcome in (answer.facts, answer.volumes[0], answer.trees[0].outcome):
        assert gap_of(outcome).kind is GapKind.CUT
        assert "signal 9" in gap_of(outcome).detail


def test_a_worker_that_stands_still_is_ended_at_the_time_limit(
    start_sshd: StartSshd, tmp_path: Path, staging: Path
) -> None:
    """As for a folder whose server is dead: the worker itself can say nothing any more."""
    started = time.monotonic()
    with worker_meets(signal.SIGSTOP):
        (answer,) = asked([hanging(start_sshd, tmp_path)], staging)
    assert time.monotonic() - started < 3 + 6
    assert gap_of(answer.facts).kind is GapKind.TIME_LIMIT
    assert not any(map(_is_worker, descendants(os.getpid())))


def test_a_worker_that_cannot_be_killed_is_left_to_itself(
    start_sshd: StartSshd, tmp_path: Path, staging: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spared: list[int] = []
    monkeypatch.setattr(errand_process, "end_session", spared.append)
    started = time.monotonic()
    with worker_meets(signal.SIGSTOP):
        (answer,) = asked([hanging(start_sshd, tmp_path)], staging)
    assert time.monotonic() - started < 3 + 8
    assert "could not be ended" in gap_of(answer.facts).detail
    os.kill(spared[0], signal.SIGKILL)
    assert wait_for(lambda: not _is_worker(spared[0]))


def test_an_auditor_that_is_killed_leaves_no_worker_behind(start_sshd: StartSshd, tmp_path: Path) -> None:
    """Run as a script without a guard, too: a worker never runs the auditor's own main module."""
    box = start_sshd("ForceCommand sleep 600")
    script = tmp_path / "auditor.py"
    script.write_text(
        "from datetime import UTC, datetime\nfrom pathlib import Path\n"
        "from coverage_audit.collectors.gather import gather\nfrom coverage_audit.estate.access import SshAccess\n"
        "from tests.builders.limits import some_limits\nfrom tests.builders.questions import a_device, a_question\n"
        f"access = {box.access!r}\n"
        "device = a_device('curlew', {'main': Path('/')}, access)\n"
        "gather([a_question(device, [])], limits=some_limits(), staging=Path('.'), seed=bytes(16),\n"
        "       clock=lambda: datetime.now(UTC), progress=lambda s, n: None)\n"
    )
    here = str(Path(__file__).parents[3])
    auditor = subprocess.Popen([sys.executable, str(script)], cwd=tmp_path, env={**os.environ, "PYTHONPATH": here})
    assert wait_for(lambda: any(map(_is_worker, descendants(auditor.pid))), 20)
    workers = [number for number in descendants(auditor.pid) if _is_worker(number)]
    assert len(workers) == 1
    time.sleep(1)
    auditor.kill()
    auditor.wait()
    assert wait_for(lambda: not any(map(_is_worker, workers)))


def test_a_second_look_sees_paths_here_and_over_ssh(box: Box, tmp_path: Path) -> None:
    (tmp_path / "main").mkdir()
    (tmp_path / "main" / "there").write_bytes(b"12345")
    for access in (LocalAccess(), box.access):
        device = a_device("kestrel", {"main": tmp_path / "main"}, access)
        there, gone = look_again(device, str(tmp_path / "main"), [b"there", b"g\xffone\n"], limits=some_limits())
        assert (there.path, there.size) == (b"there", 5)
        assert (gone.path, gone.size, gone.mtime_ns) == (b"g\xffone\n", None, None)


def test_ten_thousand_paths_may_be_looked_at_once_more(box: Box, tmp_path: Path) -> None:
    (tmp_path / "main").mkdir()
    device = a_device("heron", {"main": tmp_path / "main"}, box.access)
    paths = [b"absent/%05d-of-some-length-as-names-are" % number for number in range(10_000)]
    (tmp_path / "main" / "there").touch()  # an empty root would be no root at all
    looks = look_again(device, str(tmp_path / "main"), paths, limits=some_limits(read_time=120, device_time=240))
    assert [look.path for look in looks] == paths
    with pytest.raises(CollectionError):
        look_again(device, str(tmp_path / "main"), [*paths, b"one-more"], limits=some_limits())


def test_a_second_look_at_a_box_that_hangs_ends_in_time(start_sshd: StartSshd) -> None:
    box = start_sshd("ForceCommand sleep 600")
    started = time.monotonic()
    with pytest.raises(TransportError) as caught:
        look_again(a_device("curlew", {}, box.access), "/", [b"x"], limits=some_limits(read_time=1))
    assert caught.value.kind is GapKind.TIME_LIMIT
    assert time.monotonic() - started < 6


def test_a_worker_hears_nothing_after_its_pipe_is_closed(tmp_path: Path) -> None:
    device = a_device("kestrel", {"main": tmp_path})
    errand = LookAgain(device=device, root=str(tmp_path), paths=(), limits=some_limits(), deadline=time.monotonic() + 5)
    process = ErrandProcess(errand, time.monotonic() + 5)
    assert wait_for(process.has_died, 20)
    said, closed = process.words()
    assert closed
    assert len(said) == 2
    assert process.end() == "ended with status 0"


def test_a_worker_and_what_it_runs_is_not_given_the_variables_that_hold_secrets(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PHONE_URL", "planted")
    monkeypatch.setenv("COVERAGE_AUDIT_TEST", "given")
    device = a_device("kestrel", {"main": tmp_path})
    errand = LookAgain(device=device, root=str(tmp_path), paths=(), limits=some_limits(), deadline=time.monotonic() + 5)
    for withheld in (frozenset[str](), frozenset({"PHONE_URL"})):
        process = ErrandProcess(errand, time.monotonic() + 5, withheld)
        given = Path(f"/proc/{process.pid}/environ").read_bytes()
        process.end()
        assert b"COVERAGE_AUDIT_TEST=given" in given
        assert (b"planted" in given) == (not withheld)
