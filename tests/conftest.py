"""No test touches the user's own data; what tests tell beside pass or fail is printed at the end of a run."""

import os

import pytest


@pytest.fixture(scope="session", autouse=True)
def data_home(tmp_path_factory: pytest.TempPathFactory) -> None:
    """The user's data folder for this run, also of programs that tests start."""
    os.environ["XDG_DATA_HOME"] = str(tmp_path_factory.mktemp("data"))
    os.environ.pop("CROSSPIN_STORE", None)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print every property "told" that a test has recorded, on whichever worker it ran."""
    reports = [r for sort in ("passed", "failed") for r in terminalreporter.stats.get(sort, ())]
    for line in sorted({value for r in reports for name, value in r.user_properties if name == "told"}):
        terminalreporter.write_line(str(line))
