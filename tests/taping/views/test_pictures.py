"""The removal pictures: anybody may look, anything may keep them, and no address says whose they are."""

import pytest
from django.test import Client

from clinic.models import Clinic
from taping.rules.places import PLACES, REGIONS, Side
from taping.views.pictures import picture_address


@pytest.mark.parametrize("where", [REGIONS["knee"], PLACES["patellar_tendon"]], ids=lambda where: where.key)
def test_a_picture_needs_no_log_in_and_may_be_kept(client: Client, clinic: Clinic, where: object) -> None:
    response = client.get(f"/pictures/{getattr(where, 'key', '')}/left/1.svg")
    assert response.status_code == 200
    assert response.headers["Content-Type"] == "image/svg+xml"
    assert response.headers["Cache-Control"] == "public, max-age=31536000, immutable"
    assert response.content.startswith(b"<svg")
    assert not response.cookies


@pytest.mark.parametrize(
    "address", ["wing/left/1", "knee/midline/1", "knee/both/1", "knee/left/0", "knee/left/4", "knee/left/x"]
)
def test_what_there_is_no_picture_of_is_not_found(client: Client, clinic: Clinic, address: str) -> None:
    assert client.get(f"/pictures/{address}.svg").status_code == 404


def test_a_picture_cannot_be_posted_to(client: Client, clinic: Clinic) -> None:
    assert client.post("/pictures/knee/left/1.svg").status_code == 405


def test_the_address_leads_to_the_picture_and_tells_drawings_apart(client: Client, clinic: Clinic) -> None:
    left, right = (picture_address(REGIONS["knee"], side, 1) for side in (Side.LEFT, Side.RIGHT))
    assert client.get(left).status_code == 200
    assert left.partition("?v=")[2] != right.partition("?v=")[2]
