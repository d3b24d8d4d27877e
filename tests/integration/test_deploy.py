"""The systemd units are what systemd accepts, start commands that exist, and stay in their sandbox.

systemd itself is the judge: `systemd-analyze verify` reads the units in a root directory of our own, in
which a file stands at the path where the README puts the `lantern` command.
"""

import os
import shutil
import subprocess
import sys
from configparser import ConfigParser
from pathlib import Path

import pytest

from shared.settings import Settings

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "deploy"
UNITS = ("lantern-collector.service", "lantern-dashboard.service")
ANALYZE = shutil.which("systemd-analyze")
# CI skips nothing: there a missing systemd is a failure of the first test that needs it.
needs_systemd = pytest.mark.skipif(
    ANALYZE is None and "CI" not in os.environ, reason="no systemd-analyze here (Debian package systemd)"
)


@pytest.fixture
def machine(tmp_path):
    """A root directory as after the README's steps: Debian's own units, ours, and the command."""
    shutil.copytree("/usr/lib/systemd/system", tmp_path / "usr/lib/systemd/system", symlinks=True)
    ours = tmp_path / "etc/systemd/system"
    ours.mkdir(parents=True)
    for unit in UNITS:
        shutil.copy(DEPLOY / unit, ours)
    command = tmp_path / "opt/lantern/venv/bin/lantern"
    command.parent.mkdir(parents=True)
    command.write_text("#!/bin/sh\n")
    command.chmod(0o755)
    return tmp_path


def analyze(machine: Path, verb: str, *arguments: str) -> tuple[int, str]:
    done = subprocess.run(
        [ANALYZE, verb, f"--root={machine}", *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


def service(unit: str) -> dict[str, str]:
    """The `[Service]` table; a key that stands twice keeps its last value, which is enough here."""
    parser = ConfigParser(strict=False, interpolation=None)
    parser.optionxform = str
    parser.read(DEPLOY / unit)
    return dict(parser["Service"])


@needs_systemd
def test_systemd_accepts_both_units_without_a_word(machine):
    assert analyze(machine, "verify", "--man=no", *UNITS) == (0, "")


@needs_systemd
@pytest.mark.parametrize(
    ("sound", "broken", "complaint"),
    [
        ("Restart=always", "Restart=sometimes", "restart"),
        ("ProtectHome=yes", "ProtectHouse=yes", "ProtectHouse"),
        ("WatchdogSec=5min", "WatchdogSec=often", "sec value"),
        ("/opt/lantern/venv/bin/lantern", "/opt/lantern/venv/bin/lamp", "not executable"),
    ],
)
def test_a_mistake_in_a_unit_would_be_seen(machine, sound, broken, complaint):
    unit = machine / "etc/systemd/system" / UNITS[0]
    unit.write_text(unit.read_text().replace(sound, broken))
    assert complaint in analyze(machine, "verify", "--man=no", UNITS[0])[1]


@needs_systemd
@pytest.mark.parametrize("unit", UNITS)
def test_systemd_rates_the_exposure_of_each_unit_as_low(machine, unit):
    """2.0 of 10: systemd's own figure for a service that may do little beyond its job."""
    code, said = analyze(machine, "security", "--offline=yes", "--threshold=20", unit)
    assert code == 0, said


@pytest.mark.parametrize("unit", UNITS)
def test_a_unit_starts_a_command_that_lantern_has(unit):
    program, *command = service(unit)["ExecStart"].split()
    assert program == "/opt/lantern/venv/bin/lantern"
    done = subprocess.run(
        [sys.executable, ROOT / "lantern.py", *command, "--help"],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr


def test_both_units_share_one_sandbox_one_user_and_one_folder():
    collector, dashboard = (service(unit) for unit in UNITS)
    differing = {key for key in collector | dashboard if collector.get(key) != dashboard.get(key)}
    told = {"Type", "TimeoutStartSec", "WatchdogSec"}
    assert differing == {"ExecStart", "OOMScoreAdjust", "LimitCORE"} | told


def test_systemd_restarts_a_collector_that_no_longer_tells_it_that_it_moves():
    """systemd.service(5): without Type=notify nothing is listened to; always covers what the watchdog ends."""
    collector = service(UNITS[0])
    assert (collector["Type"], collector["Restart"]) == ("notify", "always")
    assert "WatchdogSec" in collector


def test_units_and_environment_name_only_settings_that_exist():
    lines = (DEPLOY / "lantern.env").read_text().splitlines()
    named = {line.lstrip("#").partition("=")[0] for line in lines if line.lstrip("#").startswith("LANTERN_")}
    for unit in UNITS:
        named |= {pair.partition("=")[0] for pair in service(unit)["Environment"].split()}
    known = {f"LANTERN_{name.upper()}" for name in Settings.model_fields}
    assert len(named) > 4
    assert named <= known


def test_the_readme_names_every_file_here():
    text = (DEPLOY / "README.md").read_text()
    for path in DEPLOY.iterdir():
        assert path.name == "README.md" or f"`{path.name}{'/' if path.is_dir() else ''}`" in text, path.name
