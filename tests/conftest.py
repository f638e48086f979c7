"""What all processes of a run share, and that none touches the user's own data; and what tests tell beside pass or
fail is printed at its end."""

import os
from collections.abc import Iterator
from tempfile import TemporaryDirectory

import pytest

from crosspin.answer import desk, tell
from crosspin.answer.plan import Plan
from crosspin.answer.reasons import Scene
from crosspin.collector import collect_seldom
from crosspin.knockon.ask import Ask
from crosspin.knockon.proposal import Proposal
from crosspin.rules.prover import Proof
from work_checker import Walk


def pytest_configure(config: pytest.Config) -> None:
    """Make a folder for what is made once a run, and let the processes that are started know it."""
    collect_seldom()  # as the program does
    if not hasattr(config, "workerinput"):
        folder = TemporaryDirectory(prefix="crosspin-tests-")
        os.environ["SHARED_BY_TESTS"] = folder.name
        config.add_cleanup(folder.cleanup)


def pytest_xdist_auto_num_workers() -> int:
    """One worker more than there are cores: tests in a browser, and of services, wait for others a good deal."""
    return (os.cpu_count() or 1) + 1


@pytest.fixture(scope="session", autouse=True)
def data_home(tmp_path_factory: pytest.TempPathFactory) -> None:
    """The user's data folder for this run, also of programs that tests start."""
    os.environ["XDG_DATA_HOME"] = str(tmp_path_factory.mktemp("data"))
    os.environ.pop("CROSSPIN_STORE", None)


@pytest.fixture(scope="session", autouse=True)
def work_is_walked_through() -> Iterator[None]:
    """Walk through the work of every plan that a test makes in its own process."""
    told = tell.tell_plan

    def tell_plan(scene: Scene, ask: Ask, proposal: Proposal, proof: Proof) -> Plan:
        plan = told(scene, ask, proposal, proof)
        wrong = Walk(scene.model, scene.layout, scene.as_received.parts, scene.parts).wrong(plan)
        if wrong:
            raise AssertionError(f"the work for {ask.model_dump_json()} cannot be done: {'; '.join(wrong)}")
        return plan

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(desk, "tell_plan", tell_plan)
        yield


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print every property "told" that a test has recorded, on whichever worker it ran."""
    reports = [r for sort in ("passed", "failed") for r in terminalreporter.stats.get(sort, ())]
    for line in sorted({value for r in reports for name, value in r.user_properties if name == "told"}):
        terminalreporter.write_line(str(line))
