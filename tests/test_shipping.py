"""What carries the site elsewhere: docker-compose.yml, Dockerfile and .env.example say the same as the code.

`make lint` holds the compose file against the schema of the Compose Specification; here is what a schema cannot know.
"""

import os
import re
import subprocess
import sys

import pytest
import yaml

from shop.bootstrap import LIBRARIES, ROOT

COMPOSE = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
SERVICES = COMPOSE["services"]
OURS = ["migrate", "web", "worker", "scheduler"]
# Only docker compose reads these, or only the commands of the Makefile.
NOT_OF_THE_SITE = {"PORT", "POSTGRES_PASSWORD", "TEST_DATABASE_URL", "TEST_REDIS_URL", "TEST_PRIVATE"}
FILLED_IN = {
    "DAMPERBOOK_SECRET_KEY": "a-key-of-the-tests-" + "0123456789" * 5,
    "DAMPERBOOK_SITE_URL": "https://book.example.com",
    "DAMPERBOOK_ALLOWED_HOSTS": "book.example.com",
    "DAMPERBOOK_POSTGRES_PASSWORD": "letters0and0digits",
    "DAMPERBOOK_SMTP_URL": "smtp://mail:8025",
    "DAMPERBOOK_SHOP_NAME": "Larkspur Gulch Powersports",
    "DAMPERBOOK_SHOP_ADDRESS": "12 Quarry Road, Larkspur Gulch",
    "DAMPERBOOK_SHOP_EMAIL": "bench@example.com",
    "DAMPERBOOK_TIME_ZONE": "America/Denver",
}


def settings_read():
    """Names, without prefix, of all variables that the settings file reads."""
    text = (ROOT / "shop" / "settings.py").read_text()
    return set(
        re.findall(r"env\.(?:text|flag|number|quantity|choice|names|email|zone|site|smtp)\(\s*\"([A-Z_]+)\"", text)
    )


def interpolated(text, values):
    """Compose's ${NAME:?message} and ${NAME:-default}, as far as this file uses them."""

    def value(match):
        name, kind, rest = match.groups()
        if values.get(name):
            return values[name]
        assert kind == ":-", f"{name} is missing: {rest}"
        return rest

    return re.sub(r"\$\{([A-Z_]+)(:[?-])([^}]*)\}", value, text)


def site_environment(values):
    return {name: interpolated(str(text), values) for name, text in SERVICES["web"]["environment"].items()}


def test_the_example_shows_every_setting_and_no_other():
    shown = set(re.findall(r"^#?DAMPERBOOK_([A-Z_]+)=", (ROOT / ".env.example").read_text(), re.MULTILINE))
    assert len(settings_read()) > 20
    assert shown - NOT_OF_THE_SITE == settings_read()


def test_the_example_holds_no_secret():
    text = (ROOT / ".env.example").read_text()
    assert re.search(r"^DAMPERBOOK_SECRET_KEY=$", text, re.MULTILINE)
    assert re.search(r"^DAMPERBOOK_POSTGRES_PASSWORD=$", text, re.MULTILINE)


def test_the_services_get_every_setting():
    passed_on = {name.removeprefix("DAMPERBOOK_") for name in SERVICES["web"]["environment"]}
    # The image's own folder, and known passwords that have no place in production.
    assert settings_read() - passed_on <= {"VAR", "DEMO", "REDIS_KEY_PREFIX"}
    assert passed_on <= settings_read()
    for name in OURS:
        assert SERVICES[name]["environment"] == SERVICES["web"]["environment"]


def test_the_site_takes_the_settings_that_compose_hands_it(tmp_path):
    done = start_site(tmp_path, site_environment(FILLED_IN))
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("missing", sorted(FILLED_IN))
def test_nothing_starts_while_a_secret_or_an_address_is_missing(missing):
    with pytest.raises(AssertionError, match=f"{missing} is missing"):
        site_environment({**FILLED_IN, missing: ""})


def test_the_site_refuses_a_short_key_even_from_compose(tmp_path):
    done = start_site(tmp_path, site_environment({**FILLED_IN, "DAMPERBOOK_SECRET_KEY": "short"}))
    assert done.returncode != 0
    assert "DAMPERBOOK_SECRET_KEY" in done.stderr


def start_site(folder, environment):
    """Read the settings with this environment alone, and run Django's checks."""
    return subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        check=False,
        cwd=ROOT,
        env={"PATH": os.environ["PATH"], "DAMPERBOOK_VAR": str(folder), **environment},
        capture_output=True,
        text=True,
    )


def test_no_service_has_a_secret_of_its_own():
    for name, service in SERVICES.items():
        for variable, value in service.get("environment", {}).items():
            if re.search("PASSWORD|SECRET|_URL", variable) and "redis://" not in str(value):
                assert ":?" in str(value), f"{name}: {variable} can be left out"


def test_only_the_web_server_can_be_reached_and_from_this_machine_alone():
    open_ports = {name: service["ports"] for name, service in SERVICES.items() if "ports" in service}
    assert list(open_ports) == ["web"]
    assert all(port.startswith("127.0.0.1:") for port in open_ports["web"])
    assert COMPOSE["networks"]["inside"] == {"internal": True}
    assert [SERVICES[name]["networks"] for name in ("postgres", "redis", "mail")] == [["inside"]] * 3


def test_every_service_that_stays_has_a_health_check_and_comes_back():
    for name, service in SERVICES.items():
        if name != "migrate":
            assert service["healthcheck"]["test"], name
            assert service["restart"] == "unless-stopped", name


def test_nobody_works_before_the_tables_are_there():
    for name in ("web", "worker", "scheduler"):
        assert SERVICES[name]["depends_on"]["migrate"] == {"condition": "service_completed_successfully"}
    assert SERVICES["migrate"]["depends_on"]["postgres"] == {"condition": "service_healthy"}


def test_our_containers_have_no_rights_to_spare():
    for name in [*OURS, "mail"]:
        service = SERVICES[name]
        assert service["read_only"] is True
        assert service["cap_drop"] == ["ALL"]
        assert service["security_opt"] == ["no-new-privileges:true"]
    assert all("no-new-privileges:true" in service["security_opt"] for service in SERVICES.values())


def test_every_volume_is_declared_and_every_declared_one_used():
    used = {volume.split(":")[0] for service in SERVICES.values() for volume in service.get("volumes", [])}
    assert used == set(COMPOSE["volumes"])


def test_pages_and_workers_share_the_folder_of_what_is_handed_in():
    """A file to bring in is kept by the one and gone through by the other."""
    for name in ("web", "worker"):
        assert "media:/app/var/media" in SERVICES[name]["volumes"], name
        assert "DAMPERBOOK_VAR" not in SERVICES[name]["environment"], name  # it would lie elsewhere
    dockerfile = (ROOT / "Dockerfile").read_text()
    assert "WORKDIR /app\n" in dockerfile
    assert re.search(r"install --directory --owner=damperbook .* var/media$", dockerfile, re.MULTILINE)


def test_the_image_has_what_printing_needs_and_an_unprivileged_user():
    dockerfile = (ROOT / "Dockerfile").read_text()
    for _, package in LIBRARIES:
        assert package in dockerfile
    assert "fonts-dejavu-core" in dockerfile
    assert re.findall(r"^USER (\w+)$", dockerfile, re.MULTILINE) == ["10001", "10001"]
    assert {SERVICES[name]["build"]["target"] for name in [*OURS, "mail"]} == set(
        re.findall(r"^FROM base AS (\w+)$", dockerfile, re.MULTILINE)
    )
