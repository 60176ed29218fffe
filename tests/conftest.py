"""What every test may ask for."""

import os
import shutil

import pytest


@pytest.fixture(scope="session")
def chromium():
    """Give one headless Chromium; without a browser the test fails and says how to get one."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - only browser tests pay for it

    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        pytest.fail("There is no Chromium here. As root: apt-get install chromium")
    with sync_playwright() as driver:
        # Chromium's own sandbox refuses to run as root.
        options = ["--no-sandbox"] if os.geteuid() == 0 else []
        browser = driver.chromium.launch(executable_path=found, args=options)
        yield browser
        browser.close()
