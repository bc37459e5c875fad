"""Drafts and photos through the API: kept as typed for their author, and no word lost between two writers."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from setups.models import Draft, Setup
from tests.factories import MemberFactory, SetupFactory
from tests.setups.asking import Caller, get, pointed, program, refused, said_by

pytestmark = pytest.mark.django_db


@pytest.fixture
def caller(author):
    return Caller(author)


def test_a_draft_keeps_what_is_typed_and_only_its_author_sees_it(author, caller):
    answer = caller.post("drafts/", {"typed": {"name": "Maybe", "best_lap": "9,8?"}})
    assert answer.status_code == 201
    draft = answer.json()
    assert draft["typed"] == {"name": "Maybe", "best_lap": "9,8?"}
    assert caller.get(draft["url"]).json() == draft
    assert [one["setup"] for one in caller.get("drafts/").json()["results"]] == [draft["setup"]]
    for other in (Caller(MemberFactory()), Caller(MemberFactory(steward=True), "read write steward")):
        refused(other.get(draft["url"]), 404, "not-found")
        assert other.get("drafts/").json()["results"] == []
    refused(Caller().get(draft["url"]), 401, "unauthenticated")
    refused(get(f"setups/{draft['setup']}/"), 404, "not-found")
    assert get("setups/").json()["results"] == []


def test_a_draft_is_kept_by_no_shared_cache(caller):
    answer = caller.get(caller.post("drafts/", {}).json()["url"])
    assert set(answer["Cache-Control"].split(", ")) == {"private", "no-cache"}
    assert {"Authorization", "Cookie"} <= set(answer["Vary"].split(", "))


def test_two_who_write_one_draft_lose_no_word(caller):
    made = caller.post("drafts/", {"typed": {"name": "First"}})
    path, etag = made.json()["url"], made["ETag"]
    refused(caller.put(path, {"typed": {"name": "Mine"}}), 428, "precondition-required")
    saved = caller.put(path, {"typed": {"name": "Mine"}}, If_Match=etag)
    assert (saved.status_code, saved.json()["version"]) == (200, 2)
    refused(caller.put(path, {"typed": {"name": "Theirs"}}, If_Match=etag), 412, "precondition-failed")
    assert caller.get(path).json()["typed"] == {"name": "Mine"}
    assert caller.get(path)["ETag"] == saved["ETag"] != etag
    assert caller.get(path, If_None_Match=saved["ETag"]).status_code == 304


def test_a_draft_of_a_posted_setup_is_made_on_purpose_and_posted_with_its_own_etag(author, caller):
    setup = SetupFactory(author=author)
    path = f"setups/{setup.pk}/draft/"
    refused(caller.get(path), 404, "not-found")
    refused(caller.put(path, {"typed": {}}), 428, "precondition-required")
    made = caller.put(path, {"typed": {"notes": "half a th"}}, If_None_Match="*")
    assert made.status_code == 201
    refused(caller.put(path, {"typed": {}}, If_None_Match="*"), 428, "precondition-required")
    sent = said_by(setup) | {"notes": "half a thought"}
    revisions = f"setups/{setup.pk}/revisions/"
    # The setup's own ETag does not do while a draft is open: what is in it would be lost.
    of_setup = caller.etag(f"setups/{setup.pk}/")
    refused(caller.post(revisions, sent, If_Match=of_setup), 412, "precondition-failed")
    assert caller.post(revisions, sent, If_Match=made["ETag"]).status_code == 201
    assert not Draft.objects.exists()
    refused(caller.put(path, {"typed": {}}, If_Match=made["ETag"]), 412, "precondition-failed")


def test_a_draft_is_thrown_away_with_the_setup_that_was_never_posted(author, caller):
    made = caller.post("drafts/", {})
    path = made.json()["url"]
    refused(caller.delete(path), 428, "precondition-required")
    assert caller.delete(path, If_Match=made["ETag"]).status_code == 204
    assert not Setup.objects.exists()
    refused(caller.delete(path, If_Match=made["ETag"]), 404, "not-found")


def test_a_draft_starts_from_another_setup(caller):
    setup = SetupFactory(notes="Theirs.")
    start = {"setup": setup.pk, "revision": 1}
    typed = caller.post("drafts/", {"started_from": start, "typed": {"name": "Mine"}}).json()["typed"]
    assert (typed["name"], typed["notes"], typed["body"]) == ("Mine", "Theirs.", str(setup.body_id))
    refused(caller.post("drafts/", {"started_from": {"setup": 99, "revision": 1}}), 400, "invalid-content")
    assert list(pointed(caller.post("drafts/", {"typed": {"wing": "x"}}))) == ["#/typed/wing"]


# Photos


def picture() -> SimpleUploadedFile:
    kept = BytesIO()
    Image.new("RGB", (40, 30), "teal").save(kept, "JPEG")
    return SimpleUploadedFile("IMG_0001.jpg", kept.getvalue(), "image/jpeg")


def send(caller: Caller, path: str, **headers: str) -> Any:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    fields = {"photo": picture(), "caption": "On the scales"}
    return program().post(f"/api/v1/{path}", fields, headers=caller.headers | named)


def test_a_photo_is_put_on_the_draft_and_shown_to_others_when_it_is_posted(author, caller):
    setup = SetupFactory(author=author)
    path = f"setups/{setup.pk}/photos/"
    answer = send(caller, path)
    assert answer.status_code == 201, answer.content
    made = answer.json()
    assert (made["caption"], made["width"], made["height"]) == ("On the scales", 40, 30)
    assert caller.get(answer["Location"]).json() == made
    assert caller.get(path).json() == [made]
    assert get(path).json() == []
    assert "private" in caller.get(path)["Cache-Control"]
    refused(Caller().get(answer["Location"]), 404, "not-found")
    draft = caller.etag(f"setups/{setup.pk}/draft/")
    sent = said_by(setup) | {"notes": "With a photo."}
    revision = caller.post(f"setups/{setup.pk}/revisions/", sent, If_Match=draft)
    assert revision.json()["photos"] == [made["number"]]
    assert get(path).json() == [made]


def test_a_photo_is_added_once_for_one_key_and_taken_off_with_its_etag(author, caller):
    setup = SetupFactory(author=author)
    path = f"setups/{setup.pk}/photos/"
    first, again = (send(caller, path, Idempotency_Key="k") for _ in range(2))
    assert first.content == again.content
    assert setup.photos.count() == 1
    refused(caller.delete(first["Location"]), 428, "precondition-required")
    refused(Caller(MemberFactory()).delete(first["Location"], If_Match="*"), 404, "not-found")
    assert caller.delete(first["Location"], If_Match=first["ETag"]).status_code == 204
    assert setup.photos.count() == 0


def test_what_is_no_picture_is_refused(author, caller):
    setup = SetupFactory(author=author)
    path = f"/api/v1/setups/{setup.pk}/photos/"
    file = SimpleUploadedFile("a.jpg", b"not a picture", "image/jpeg")
    found = pointed(program().post(path, {"photo": file}, headers=caller.headers))
    assert "JPEG, PNG or WebP" in found["#/photo"]
    assert list(pointed(program().post(path, {}, headers=caller.headers))) == ["#/photo"]
    refused(caller.post(path, {}), 415, "unsupported-media-type")
    refused(send(Caller(MemberFactory()), path.removeprefix("/api/v1/")), 404, "not-found")
    assert setup.photos.count() == 0
