"""Where nothing may be skipped, as in the gate, a test that was skipped fails the run."""

import os


def pytest_sessionfinish(session, exitstatus):
    skipped = session.config.pluginmanager.get_plugin("terminalreporter").stats.get("skipped", [])
    if skipped and exitstatus == 0 and os.environ.get("PRECEDENT_NO_SKIP") == "1":
        print(f"\n{len(skipped)} skipped, which PRECEDENT_NO_SKIP forbids: {skipped[0].longrepr}")
        session.exitstatus = 1
