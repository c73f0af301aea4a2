"""A JupyterLab on copies of the notebooks, and a headless Chromium to look at it with."""

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
from lab_pages import Lab
from selenium import webdriver

ROOT = Path(__file__).parents[2]
FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--force-prefers-reduced-motion",
)
SERVER = (
    "--no-browser",
    "--ip=127.0.0.1",
    "--port=0",
    "--IdentityProvider.token=",
    "--LabApp.expose_app_in_browser=True",
    "--LabApp.extension_manager=readonly",
    "--ServerApp.allow_root=True",
    "--ServerApp.disable_check_xsrf=True",
)
NEWS = {"disabledExtensions": {"@jupyterlab/apputils-extension:announcements": True}}
"""JupyterLab's own news would lie over the page and want the network."""


@pytest.fixture(scope="session")
def programs():
    """Paths of Chromium and its driver; where a browser is demanded, its absence is a failure."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    driver = shutil.which("chromedriver")
    if chromium and driver:
        return chromium, driver
    reason = "no browser: Chromium and chromedriver are not both installed"
    if os.environ.get("CI") or os.environ.get("MOTORLEARN_NEEDS_BROWSER"):
        pytest.fail(reason)
    pytest.skip(reason)


@pytest.fixture(scope="session")
def server(programs, tmp_path_factory):
    """JupyterLab as a reader starts it: the kernels choose how to draw, whatever the tests say."""
    folder = tmp_path_factory.mktemp("lab")
    for name in ("notebooks", "data"):
        shutil.copytree(ROOT / name, folder / name)
    settings = folder / "config" / "labconfig" / "page_config.json"
    settings.parent.mkdir(parents=True)
    settings.write_text(json.dumps(NEWS))
    with (folder / "lab.log").open("w") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "jupyterlab", *SERVER, f"--ServerApp.root_dir={folder}"],
            stdout=log,
            stderr=subprocess.STDOUT,
            env=_environment(folder),
            start_new_session=True,
        )
        try:
            yield Lab(_address(folder / "runtime", process), folder)
        finally:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGTERM)
            process.wait(30)


def _environment(folder):
    own = {
        "HOME": folder,
        "JUPYTER_CONFIG_DIR": folder / "config",
        "JUPYTER_RUNTIME_DIR": folder / "runtime",
    }
    environment = os.environ | {name: str(path) for name, path in own.items()}
    environment.pop("MPLBACKEND", None)
    return environment


def _address(runtime, process):
    for _ in range(240):
        assert process.poll() is None, "JupyterLab stopped"
        for file in runtime.glob("jpserver-*.json"):
            with contextlib.suppress(OSError, json.JSONDecodeError):
                address = f"http://127.0.0.1:{json.loads(file.read_text())['port']}"
                urllib.request.urlopen(f"{address}/api/status", timeout=2).close()
                return address
        time.sleep(0.5)
    raise AssertionError("JupyterLab did not answer")


@pytest.fixture
def lab(server):
    """The server, and no kernel left running on it afterwards."""
    yield server
    server.stop_kernels()


@pytest.fixture
def window(programs, tmp_path):
    """Open windows on a page that needs no server, of a size, with a finger or without.

    A window can reach no network: whatever a page asks for fails. Downloads go to ``downloads``.
    """
    chromium, driver = programs
    opened, downloads = [], tmp_path / "downloads"

    def opens(width, height, *, touch=False, motion="reduce", network=False):
        options = webdriver.ChromeOptions()
        options.binary_location = chromium
        own = [f"--user-data-dir={tmp_path / f'profile-{len(opened)}'}"]
        own += [] if network else ["--host-resolver-rules=MAP * ~NOTFOUND"]
        flags = [flag for flag in FLAGS if not flag.startswith("--force-prefers")]
        for flag in (*flags, *own, f"--window-size={width},{height}"):
            options.add_argument(flag)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
        made = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
        opened.append(made)
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": touch}
        made.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        if touch:
            fingers = {"enabled": True, "maxTouchPoints": 5}
            made.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", fingers)
        asked = {"features": [{"name": "prefers-reduced-motion", "value": motion}]}
        made.execute_cdp_cmd("Emulation.setEmulatedMedia", asked)
        kept = {"behavior": "allow", "downloadPath": str(downloads)}
        made.execute_cdp_cmd("Browser.setDownloadBehavior", kept)
        made.downloads = downloads
        return made

    downloads.mkdir()
    yield opens
    for one in opened:
        one.quit()


@pytest.fixture
def browser(programs, lab, tmp_path):
    """A window as large as a desk's; it closes before the kernels stop."""
    chromium, driver = programs
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for flag in (*FLAGS, "--window-size=1400,1600", f"--user-data-dir={tmp_path / 'profile'}"):
        options.add_argument(flag)
    window = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    yield window
    window.quit()
