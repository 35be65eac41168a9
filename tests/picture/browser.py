"""A real browser for the field page: the one that Debian ships, driven through its own driver."""

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

import pytest

BROWSERS = ("chromium", "chromium-browser")
NEEDED = "the field page is tested in a real browser: install it with 'apt-get install chromium chromium-driver'"


def _found():
    return next(filter(None, map(shutil.which, BROWSERS)), None), shutil.which("chromedriver")


def _install():
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    install = ["apt-get", "install", "-y", "-qq", "--no-install-recommends", "chromium", "chromium-driver"]
    if subprocess.run(install, env=quiet, capture_output=True, check=False).returncode:
        subprocess.run(["apt-get", "update", "-qq"], env=quiet, capture_output=True, check=False)
        subprocess.run(install, env=quiet, capture_output=True, check=False)


def programs():
    """Paths of the browser and its driver; installed on Debian when the tests run as root."""
    if not all(_found()) and Path("/etc/debian_version").exists() and os.geteuid() == 0:
        import fcntl

        with (Path(tempfile.gettempdir()) / "matdb-tests-install.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)  # tests run side by side
            if not all(_found()):
                _install()
    browser, driver = _found()
    if not (browser and driver):
        pytest.fail(NEEDED)
    return browser, driver


def start(profile):
    """A headless browser that writes down its console and every request."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    browser, driver = programs()
    options = webdriver.ChromeOptions()
    options.binary_location = browser
    for word in (
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--disable-background-networking",
        "--no-first-run",
        f"--user-data-dir={profile}",
    ):
        options.add_argument(word)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    return webdriver.Chrome(options=options, service=Service(driver))
