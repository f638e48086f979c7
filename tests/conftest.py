"""What tests tell beside pass or fail is printed at the end of a run."""

import pytest


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print every property "told" that a test has recorded, on whichever worker it ran."""
    reports = [r for sort in ("passed", "failed") for r in terminalreporter.stats.get(sort, ())]
    for line in sorted({value for r in reports for name, value in r.user_properties if name == "told"}):
        terminalreporter.write_line(str(line))
