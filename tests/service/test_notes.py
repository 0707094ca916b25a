"""Notes and photographs of a tree by API and form: kept, shown, taken back, refused, in a backup."""

import io
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from sensors.clock import HOUR_MS
from server import backing_up, note_desk, photographs
from server.backing_up import back_up, restore
from server.data_folder import keepsakes
from server.guard import LARGEST_BODY, LARGEST_PHOTOGRAPH_BODY
from server.note_desk import LONGEST_NOTE, Noted, take_note
from server.photographs import LARGEST_UPLOAD
from server.store import notes as note_store
from server.store import trees as tree_store
from server.store.engine import FullDisk, RefusedError, open_store
from tests.service.fake_shop import NOON, Browser, FakeShop, problem
from tests.service.test_pages import Reader, read


def photograph(size: tuple[int, int] = (600, 400)) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, (120, 100, 80)).save(out, "JPEG")
    return out.getvalue()


def files(shop: FakeShop) -> list[Path]:
    folder = shop.parts.data / photographs.FOLDER
    return sorted(folder.iterdir()) if folder.exists() else []


def send(web: Browser, tree_id: int, sent: bytes, **form: str) -> Any:
    return web.post(
        f"/api/trees/{tree_id}/photographs",
        files={"photograph": ("IMG_1.jpg", sent, "image/jpeg")},
        data=form,
    )


def as_a_browser(web: Browser, action: str, fields: dict[str, str], picture: bytes = b"") -> Any:
    """Send the form as browsers do: a part for each field for a file, an empty one where none was chosen."""
    parts = [(f'name="{name}"', value.encode()) for name, value in fields.items()]
    for name, content in (("", b""), ("image.jpg" if picture else "", picture)):
        kind = "\r\nContent-Type: application/octet-stream"
        parts.append((f'name="photograph"; filename="{name}"{kind}', content))
    body = b"".join(
        b"--line\r\nContent-Disposition: form-data; " + head.encode() + b"\r\n\r\n" + content + b"\r\n"
        for head, content in parts
    )
    headers = {"Content-Type": "multipart/form-data; boundary=line"}
    return web.post(action, content=body + b"--line--\r\n", headers=headers)


def test_a_note_is_kept_with_its_time_and_read_back(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    said = {"words": "thin at the beak\r\n patched <b>", "at": "2026-03-02T11:00:00Z"}
    answer = web.post(f"/api/trees/{tree.id}/notes", json=said)
    assert answer.status_code == 201
    note = answer.json()
    assert (note["words"], note["at"], note["photograph"]) == (
        "thin at the beak\n patched <b>", "2026-03-02T11:00:00Z", None,
    )  # fmt: skip
    assert web.get(f"/api/trees/{tree.id}/notes").json()["notes"] == [note]
    assert "patched <b>" in read(web, f"/trees/{tree.id}").text


def test_a_photograph_is_served_small_and_whole_with_its_headers(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    answer = send(web, tree.id, photograph(), words="the vent")
    assert answer.status_code == 201
    shape = answer.json()["photograph"]
    assert (shape["width_px"], shape["height_px"]) == (600, 400)
    for query, size in (("", (600, 400)), ("?size=small", (480, 320))):
        picture = web.get(shape["href"] + query)
        assert picture.status_code == 200
        assert picture.headers["content-type"] == "image/jpeg"
        assert picture.headers["x-content-type-options"] == "nosniff"
        assert "default-src 'none'" in picture.headers["content-security-policy"]
        assert picture.headers["cache-control"].startswith("private")
        assert Image.open(io.BytesIO(picture.content)).size == size
    page = web.get(f"/trees/{tree.id}").text
    assert f'src="{shape["href"]}?size=small"' in page


def test_the_form_of_a_phone_keeps_words_and_picture(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    form = next(form for form in read(web, f"/trees/{tree.id}/notes").forms if form[0].endswith("/notes"))
    for _ in range(2):  # pressed twice: one note
        answer = as_a_browser(web, form[0], {**form[1], "words": "crack"}, photograph())
        assert (answer.status_code, answer.headers["location"]) == (303, f"/trees/{tree.id}/notes")
    [note] = note_store.notes(shop.engine, tree.id)
    assert note.words == "crack"
    assert note.picture is not None
    assert len(files(shop)) == 2
    again = read(web, f"/trees/{tree.id}/notes").forms[0][1]
    assert again["key"] != form[1]["key"]
    assert as_a_browser(web, form[0], {**again, "words": "only words"}).status_code == 303
    assert [one.words for one in note_store.notes(shop.engine, tree.id)] == ["crack", "only words"]


def test_taking_back_asks_and_deletes_the_picture(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    note = send(web, tree.id, photograph()).json()
    asked = read(web, f"/trees/{tree.id}/notes/{note['id']}/undo")
    assert "deleted for good" in asked.text
    assert len(files(shop)) == 2
    answer = web.post(asked.forms[0][0])
    assert answer.headers["location"] == f"/trees/{tree.id}/notes"
    assert files(shop) == []
    problem(web.get(note["photograph"]["href"]), 404)
    [kept] = web.get(f"/api/trees/{tree.id}/notes").json()["notes"]
    assert (kept["photograph"], kept["undone_at"]) == (None, "2026-03-02T12:00:00Z")
    assert web.ask("DELETE", f"/api/trees/{tree.id}/notes/{note['id']}").status_code == 200  # once more
    assert "None yet" in read(web, f"/trees/{tree.id}").text


def test_one_key_is_one_note(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    answers = [
        web.post(f"/api/trees/{tree.id}/notes", json={"words": "thin"}, headers={"Idempotency-Key": "k1"})
        for _ in range(2)
    ]
    assert [answer.status_code for answer in answers] == [201, 200]
    assert answers[0].json() == answers[1].json()


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"words": ""}, ["words"]),
        ({"words": "   "}, ["neither words nor a photograph"]),
        ({"words": "x" * (LONGEST_NOTE + 1)}, ["words", "2000"]),
        ({"words": "bell \x07"}, ["U+0007"]),
        ({"words": "later", "at": "2026-03-02T13:00:00Z"}, ["60 min in the future"]),
        ({"words": "when", "at": "2026-03-02T11:00:00"}, ["timezone"]),
    ],
)
def test_a_note_that_cannot_be_is_refused_by_name(
    shop: FakeShop, web: Browser, said: dict[str, str], words: list[str]
) -> None:
    tree = shop.hang("Heron", "A1")
    details = problem(web.post(f"/api/trees/{tree.id}/notes", json=said), 422)
    for word in words:
        assert word in details["detail"]
    assert note_store.notes(shop.engine, tree.id) == []


def test_what_is_no_photograph_leaves_nothing_and_the_words_in_the_form(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    details = problem(send(web, tree.id, b"<svg onload='x'/>"), 422)
    assert "SVG" in details["detail"]
    answer = web.post(
        f"/trees/{tree.id}/notes", data={"words": "crack"}, files=[("photograph", ("1.jpg", b"no picture"))]
    )
    assert answer.status_code == 422
    page = Reader(answer.text)
    assert "JPEG, PNG or WebP picture is taken. Nothing was written down." in page.text
    assert "crack" in page.text
    assert note_store.notes(shop.engine, tree.id) == []
    assert files(shop) == []


def test_a_body_is_larger_for_photographs_alone(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    just_over = b"\xff\xd8\xff" + b"x" * LARGEST_UPLOAD
    assert len(just_over) < LARGEST_PHOTOGRAPH_BODY
    assert "limit is 12.6 MB" in problem(send(web, tree.id, just_over), 422)["detail"]
    problem(send(web, tree.id, b"x" * LARGEST_PHOTOGRAPH_BODY), 413)
    large = {"words": "x" * LARGEST_BODY}
    assert web.post(f"/trees/{tree.id}/dips", data=large).status_code == 413


def test_as_many_as_there_may_be_and_no_orphan_of_one_more(
    shop: FakeShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(note_store, "MOST_PHOTOGRAPHS", 2)
    tree = shop.hang("Heron", "A1")
    for _ in range(2):
        take_note(shop.parts, tree.id, Noted(photograph=photograph()))
    with pytest.raises(RefusedError, match="Heron has 2 photographs; the limit is 2"):
        take_note(shop.parts, tree.id, Noted(photograph=photograph()))
    assert len(files(shop)) == 4
    [first, _] = note_store.notes(shop.engine, tree.id)
    note_desk.undo_note(shop.parts, tree.id, first.id)
    take_note(shop.parts, tree.id, Noted(photograph=photograph()))
    monkeypatch.setattr(note_store, "MOST_NOTES", 2)
    with pytest.raises(RefusedError, match="Heron has 2 notes; the limit is 2"):
        take_note(shop.parts, tree.id, Noted("one more"))


def test_a_full_disk_says_so(shop: FakeShop, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path, content: bytes) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(photographs, "keep_secret", full)
    tree = shop.hang("Heron", "A1")
    with pytest.raises(FullDisk, match="No space left on device"):
        take_note(shop.parts, tree.id, Noted(photograph=photograph()))
    assert note_store.notes(shop.engine, tree.id) == []


def test_a_tree_off_the_rack_can_be_noted_on(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    tree_store.take_off(shop.engine, tree.id, "scrapped", NOON - HOUR_MS, "Ada", "cracked")
    assert web.post(f"/api/trees/{tree.id}/notes", json={"words": "at the gate"}).status_code == 201
    assert "at the gate" in read(web, f"/trees/{tree.id}").text


def test_notes_of_another_tree_are_not_this_ones(shop: FakeShop, web: Browser) -> None:
    heron, teal = shop.hang("Heron", "A1"), shop.hang("Teal", "A2")
    note = send(web, heron.id, photograph()).json()
    problem(web.get(f"/api/trees/{teal.id}/photographs/{note['id']}"), 404)
    problem(web.ask("DELETE", f"/api/trees/{teal.id}/notes/{note['id']}"), 404)
    assert web.get(f"/trees/{teal.id}/notes/{note['id']}/undo").status_code == 404
    assert len(files(shop)) == 2


def test_photographs_are_in_a_backup_and_come_back(shop: FakeShop, tmp_path: Path) -> None:
    tree = shop.hang("Heron", "A1")
    take_note(shop.parts, tree.id, Noted("the cup", photograph()))
    (shop.parts.data / photographs.FOLDER / ".half-written.jpg.x1").write_bytes(b"on its way")
    kept = {path.name: path.read_bytes() for path in files(shop) if not path.name.startswith(".")}
    back_up(shop.parts.data, str(shop.engine.url), tmp_path / "elsewhere" / "shop.tar.gz", NOON)
    restore(tmp_path / "elsewhere" / "shop.tar.gz", tmp_path / "again")
    folder = tmp_path / "again" / photographs.FOLDER
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == kept
    engine = open_store(f"sqlite:///{tmp_path}/again/slowcorner.db")
    [note] = note_store.notes(engine, tree.id)
    engine.dispose()
    assert note.picture is not None
    assert photographs.file_of(tmp_path / "again", note.picture.name).is_file()


def test_a_photograph_that_is_taken_back_while_a_backup_is_made_is_left_out(
    shop: FakeShop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tree = shop.hang("Heron", "A1")
    note, _ = take_note(shop.parts, tree.id, Noted("the cup", photograph()))

    def then_taken_back(data: Path) -> list[Path]:
        paths = keepsakes(data)
        note_desk.undo_note(shop.parts, tree.id, note.id)
        return paths

    monkeypatch.setattr(backing_up, "keepsakes", then_taken_back)
    made = back_up(shop.parts.data, str(shop.engine.url), tmp_path / "elsewhere" / "shop.tar.gz", NOON)
    assert made.files == 1
    monkeypatch.undo()
    assert restore(tmp_path / "elsewhere" / "shop.tar.gz", tmp_path / "again").files == 1
