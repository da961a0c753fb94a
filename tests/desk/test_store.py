"""Edits saved whole, joined with what others changed, and stepped back and forward."""

from __future__ import annotations

import errno
import json
import os
import threading
from pathlib import Path
from typing import Any

import pytest

from planner.desk import history as past
from planner.desk.lock import locked
from planner.desk.store import ELSEWHERE, ChangedMeanwhile, Store
from planner.errors import NotWritten
from tests.desk.desks import Caller, contents, demo_folder


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the demo river."""
    return demo_folder(tmp_path / "river")


@pytest.fixture
def desk(folder: Path) -> Caller:
    """A desk on it."""
    return Caller(folder)


def _spot(body: dict[str, Any], number: int = 0) -> dict[str, Any]:
    return dict(body["spots"]["features"][number])


def _named(feature: dict[str, Any], name: str) -> dict[str, Any]:
    return {**feature, "properties": {**feature["properties"], "name": name}}


def _on_disk(folder: Path, kind: str = "spots") -> dict[str, dict[str, Any]]:
    found = json.loads((folder / f"{kind}.geojson").read_text(encoding="utf-8"))
    return {feature["properties"]["id"]: feature for feature in found["features"]}


def test_an_edit_changes_its_feature_and_nothing_else(desk: Caller, folder: Path) -> None:
    """One spot is renamed; every other byte of the folder and every other feature stay."""
    before = contents(folder)
    river = desk.get("/api/river")
    desk.put("/api/shapes/spots", {"version": river["version"], "set": [_named(_spot(river), "Elm ledge")]})
    after = contents(folder)
    assert {name for name in before if before[name] != after[name]} == {"spots.geojson"}
    old, new = (data["spots.geojson"].decode().splitlines() for data in (before, after))
    changed = [number for number, (a, b) in enumerate(zip(old, new, strict=True)) if a != b]
    assert len(changed) == 1
    assert "Elm ledge" in new[changed[0]]


def test_members_that_the_desk_does_not_know_stay(desk: Caller, folder: Path) -> None:
    """A member that the page leaves out stays, null takes one away, and foreign members of the document stay."""
    path = folder / "spots.geojson"
    document = json.loads(path.read_text(encoding="utf-8"))
    document["features"][0]["properties"] |= {"my_own": {"deep": [1, 2]}, "note": "by the elm"}
    document["features"][0]["bbox"] = [0, 0, 1, 1]
    document["made_by"] = "me"
    path.write_text(json.dumps(document), encoding="utf-8")
    river = desk.get("/api/river")
    bare = {"type": "Feature", "properties": {"id": _spot(river)["properties"]["id"], "name": "New", "note": None}}
    desk.put("/api/shapes/spots", {"version": river["version"], "set": [bare]})
    kept = json.loads(path.read_text(encoding="utf-8"))
    own = kept["features"][0]
    assert kept["made_by"] == "me"
    assert own["properties"]["my_own"] == {"deep": [1, 2]}
    assert own["bbox"] == [0, 0, 1, 1]
    assert own["properties"]["name"] == "New"
    assert "note" not in own["properties"]
    assert own["geometry"] == document["features"][0]["geometry"]


def test_edits_of_different_features_are_merged(desk: Caller, folder: Path) -> None:
    """Two windows on one version: each changes its own spot, both changes are on disk, and the second is told."""
    river = desk.get("/api/river")
    one, two = _spot(river, 0), _spot(river, 1)
    desk.put("/api/shapes/spots", {"version": river["version"], "set": [_named(one, "First")]})
    answer = desk.put("/api/shapes/spots", {"version": river["version"], "set": [_named(two, "Second")]})
    names = {name: feature["properties"]["name"] for name, feature in _on_disk(folder).items()}
    assert names[one["properties"]["id"]] == "First"
    assert names[two["properties"]["id"]] == "Second"
    assert answer["merged"] == [one["properties"]["id"]]


def test_the_same_feature_changed_on_both_sides_is_refused(desk: Caller, folder: Path) -> None:
    """Neither side is overwritten: the second is given both versions and nothing is written."""
    river = desk.get("/api/river")
    desk.put("/api/shapes/spots", {"version": river["version"], "set": [_named(_spot(river), "Theirs")]})
    before = contents(folder)
    reply = desk.ask("PUT", "/api/shapes/spots", {"version": river["version"], "set": [_named(_spot(river), "Mine")]})
    assert reply.status_code == 409
    body = reply.get_json()
    assert body["mine"][0]["properties"]["name"] == "Mine"
    assert body["theirs"][0]["properties"]["name"] == "Theirs"
    assert contents(folder) == before


def test_a_feature_removed_elsewhere_and_changed_here_is_refused(desk: Caller) -> None:
    """Taking away counts as a change, on either side."""
    river = desk.get("/api/river")
    name = _spot(river)["properties"]["id"]
    desk.put("/api/shapes/spots", {"version": river["version"], "remove": [name]})
    reply = desk.ask("PUT", "/api/shapes/spots", {"version": river["version"], "set": [_named(_spot(river), "Mine")]})
    assert reply.status_code == 409
    assert reply.get_json()["theirs"] == [{"id": name, "removed": True}]


def test_the_same_change_on_both_sides_is_no_conflict(desk: Caller) -> None:
    """Sending an edit again, because the answer was lost, is answered as if it were the first time."""
    river = desk.get("/api/river")
    edit = {"version": river["version"], "set": [_named(_spot(river), "Twice")]}
    first, second = desk.put("/api/shapes/spots", edit), desk.put("/api/shapes/spots", edit)
    assert first["version"] == second["version"]


def test_a_change_by_an_editor_is_seen_merged_and_kept(desk: Caller, folder: Path) -> None:
    """A file saved by an editor between two edits is noticed by its version and joined with the next edit."""
    river = desk.get("/api/river")
    path = folder / "spots.geojson"
    path.write_text(path.read_text(encoding="utf-8").replace(_spot(river, 1)["properties"]["name"], "By hand"))
    assert desk.get("/api/version")["version"] != river["version"]
    answer = desk.put("/api/shapes/spots", {"version": river["version"], "set": [_named(_spot(river), "By desk")]})
    names = [feature["properties"]["name"] for feature in _on_disk(folder).values()]
    assert "By hand" in names
    assert "By desk" in names
    assert answer["merged"] == [_spot(river, 1)["properties"]["id"]]
    assert ELSEWHERE in [step.said for step in past.History.read(folder).steps]


def test_a_file_that_an_editor_broke_is_not_written_over(desk: Caller, folder: Path) -> None:
    """What cannot be read is not replaced by what the desk remembers: the edit is refused and the text stays."""
    river = desk.get("/api/river")
    (folder / "spots.geojson").write_text('{"type": "FeatureCollection", "features": [', encoding="utf-8")
    reply = desk.ask("PUT", "/api/shapes/spots", {"version": river["version"], "set": [_named(_spot(river), "X")]})
    assert reply.status_code == 422
    assert (folder / "spots.geojson").read_text(encoding="utf-8").endswith('"features": [')
    broken = desk.get("/api/river")
    assert broken["spots"]["features"] == []
    assert any(finding["file"] == "spots.geojson" for finding in broken["findings"])
    assert len(desk.post("/api/history/back", {"version": broken["version"]})["spots"]["features"]) > 1


def test_an_unknown_base_overwrites_nothing(desk: Caller, folder: Path) -> None:
    """With a version that is no longer kept an existing feature is not changed, and a new one is taken."""
    before = contents(folder)
    river = desk.get("/api/river")
    reply = desk.ask("PUT", "/api/shapes/spots", {"version": "long ago", "set": [_named(_spot(river), "Mine")]})
    assert reply.status_code == 409
    assert contents(folder) == before
    new = _named(_spot(river), "New")
    new["properties"]["id"] = "brand-new"
    desk.put("/api/shapes/spots", {"version": "long ago", "set": [new]})
    assert "brand-new" in _on_disk(folder)


def test_a_feature_that_breaks_a_rule_is_refused(desk: Caller, folder: Path) -> None:
    """An outline that crosses itself is refused with its reason, and the folder stays as it was."""
    before = contents(folder)
    river = desk.get("/api/river")
    run = dict(river["runs"]["features"][0])
    x, y = run["geometry"]["coordinates"][0][0]
    bow = [[x, y], [x + 0.001, y + 0.001], [x + 0.001, y], [x, y + 0.001], [x, y]]
    run["geometry"] = {"type": "Polygon", "coordinates": [bow]}
    reply = desk.ask("PUT", "/api/shapes/runs", {"version": river["version"], "set": [run]})
    assert reply.status_code == 422
    assert "not valid" in reply.get_json()["given"]
    assert contents(folder) == before


def test_back_and_forward_restore_every_byte(desk: Caller, folder: Path) -> None:
    """Steps back give the files of each moment byte for byte, steps forward give them back."""
    moments = [contents(folder)]
    version = desk.get("/api/river")["version"]
    for number in range(4):
        river = desk.get("/api/river")
        version = desk.put(
            "/api/shapes/spots", {"version": version, "set": [_named(_spot(river), f"Name {number}")]}
        )["version"]  # fmt: skip
        moments.append(contents(folder))
    for expected in reversed(moments[:-1]):
        version = desk.post("/api/history/back", {"version": version})["version"]
        assert contents(folder) == expected
    assert desk.ask("POST", "/api/history/back", {"version": version}).status_code == 409
    for expected in moments[1:]:
        version = desk.post("/api/history/forward", {"version": version})["version"]
        assert contents(folder) == expected
    assert desk.ask("POST", "/api/history/forward", {}).status_code == 409


def test_a_step_back_over_somebody_elses_change_is_refused(desk: Caller, folder: Path) -> None:
    """Who has not seen the other's change cannot undo it by stepping back."""
    river = desk.get("/api/river")
    version = desk.put("/api/shapes/spots", {"version": river["version"], "set": [_named(_spot(river), "A")]})[
        "version"
    ]
    (folder / "log.csv").write_text("spot,time\n", encoding="utf-8")
    before = contents(folder)
    assert desk.ask("POST", "/api/history/back", {"version": version}).status_code == 409
    assert contents(folder) == before


def test_the_history_survives_a_restart_and_stays_out_of_version_control(desk: Caller, folder: Path) -> None:
    """A desk opened later can go back; the history's folder tells version control to leave it."""
    river = desk.get("/api/river")
    desk.put("/api/shapes/spots", {"version": river["version"], "set": [_named(_spot(river), "Kept")]})
    again = Caller(folder)
    assert again.get("/api/river")["history"] == {"back": 1, "forward": 0}
    assert _spot(again.post("/api/history/back", {}))["properties"]["name"] == _spot(river)["properties"]["name"]
    assert (folder / ".desk" / ".gitignore").read_text() == "*\n"


def test_the_history_is_bounded(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond the bound the oldest steps and their contents go; the folder itself is not touched by it."""
    monkeypatch.setattr(past, "MOST_STEPS", 5)
    store = Store(folder)
    version = store.now().version
    for number in range(12):
        text = f"spot,time\n# {number}\n".encode()
        version = store.edit(version, "log", lambda now, then, text=text: {"log.csv": text})[1].version
    held = past.History.read(folder)
    assert len(held.steps) == 5
    named = {digest for step in held.steps for digest in step.files.values()}
    assert {path.name for path in (folder / ".desk" / "contents").iterdir()} == named
    monkeypatch.setattr(past, "MOST_BYTES", 1)
    store.edit(version, "log", lambda now, then: {"log.csv": b"spot,time\n"})
    assert len(past.History.read(folder).steps) == 1


def test_damaged_history_loses_steps_and_no_file(folder: Path) -> None:
    """A broken history begins anew; a damaged content is not put in place of a file."""
    store = Store(folder)
    version = store.now().version
    store.edit(version, "log", lambda now, then: {"log.csv": b"spot,time\n"})
    for path in (folder / ".desk" / "contents").iterdir():
        path.write_bytes(b"rubbish")
    before = contents(folder)
    with pytest.raises(ChangedMeanwhile, match="no longer there"):
        store.step(-1)
    assert contents(folder) == before
    (folder / ".desk" / "history.json").write_text("{", encoding="utf-8")
    assert Store(folder).now().back == 0
    assert contents(folder) == before


def test_a_full_disk_is_said_and_nothing_is_changed(
    desk: Caller, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No room: 507 with the reason, every file as it was, no half-written file left, and later the edit succeeds."""
    river = desk.get("/api/river")
    before = contents(folder)
    edit = {"version": river["version"], "set": [_named(_spot(river), "No room")]}
    with monkeypatch.context() as patch:

        def full(_: int) -> None:
            raise OSError(errno.ENOSPC, "No space left on device")

        patch.setattr(os, "fsync", full)
        reply = desk.ask("PUT", "/api/shapes/spots", edit)
    assert reply.status_code == 507
    assert "No space left" in reply.get_json()["given"]
    assert contents(folder) == before
    desk.put("/api/shapes/spots", edit)
    assert contents(folder) != before


def test_a_folder_that_may_not_be_written_to_is_said(
    desk: Caller, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A read-only folder is still shown, with a finding ahead of the others; a write is refused with 507."""
    river = desk.get("/api/river")
    before = contents(folder)

    def refused(*_: Any, **__: Any) -> int:
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(os, "open", refused)
    shown = desk.get("/api/river")
    assert "nothing can be saved here" in shown["findings"][0]["given"]
    assert "Read-only" in shown["findings"][0]["given"]
    assert len(shown["spots"]["features"]) == len(river["spots"]["features"])
    reply = desk.ask("PUT", "/api/shapes/spots", {"version": river["version"], "set": [_named(_spot(river), "X")]})
    assert reply.status_code == 507
    assert contents(folder) == before


def test_several_files_change_together_or_not_at_all(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the second file of an edit cannot be written the first is put back."""
    store = Store(folder)
    version = store.now().version
    before = contents(folder)
    real = Store._one
    written: list[str] = []

    def fails_once(self: Store, name: str, content: bytes | None) -> None:
        if len(written) == 1 and name == "spots.geojson":
            written.append("failed")
            raise NotWritten("the file could not be written (No space left on device)", "room", "free room", where=name)
        written.append(name)
        real(self, name, content)

    monkeypatch.setattr(Store, "_one", fails_once)
    with pytest.raises(NotWritten):
        store.edit(version, "both", lambda now, then: {"log.csv": b"spot,time\n", "spots.geojson": b"{}"})
    assert written[:2] == ["log.csv", "failed"]
    assert contents(folder) == before
    assert not (folder / ".desk" / "pending.json").exists()


def test_an_edit_of_several_files_cut_short_is_finished(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Killed between two files: the next desk finishes the edit, unless somebody changed one of them since."""

    class Killed(BaseException):
        """As if the process had ended here."""

    store = Store(folder)
    version = store.now().version
    real, count = Store._one, []

    def killed(self: Store, name: str, content: bytes | None) -> None:
        if count:
            raise Killed
        count.append(name)
        real(self, name, content)

    new = {"log.csv": b"spot,time\n", "spots.geojson": b'{"type": "FeatureCollection", "features": []}'}
    with monkeypatch.context() as patch:
        patch.setattr(Store, "_one", killed)
        with pytest.raises(Killed):
            store.edit(version, "both", lambda now, then: dict(new))
    assert (folder / "spots.geojson").read_bytes() != new["spots.geojson"]
    assert Store(folder).now().contents["spots.geojson"] == new["spots.geojson"]
    assert (folder / "log.csv").read_bytes() == new["log.csv"]


def test_two_desks_on_one_folder_take_turns(folder: Path) -> None:
    """Forty edits from two stores at once: none is lost, and every step is in the history."""
    stores = [Store(folder), Store(folder)]
    version = stores[0].now().version
    wrong: list[BaseException] = []

    def work(which: int) -> None:
        def add(now: dict[str, bytes], _: dict[str, bytes] | None) -> dict[str, bytes | None]:
            return {"log.csv": now["log.csv"] + f"{which}\n".encode()}

        try:
            for _ in range(20):
                stores[which].edit(version, "add", add)
        except BaseException as error:
            wrong.append(error)

    before = (folder / "log.csv").read_bytes()
    threads = [threading.Thread(target=work, args=(which,)) for which in (0, 1)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert not wrong
    added = (folder / "log.csv").read_bytes().removeprefix(before).decode().split()
    assert sorted(added) == ["0"] * 20 + ["1"] * 20
    assert past.History.read(folder).at == 40


def test_a_desk_that_hangs_is_named(tmp_path: Path) -> None:
    """Who waits too long for the lock is told that another desk holds it."""
    home = tmp_path / ".desk"
    # a second handle on the same file stands for another process
    with locked(home), pytest.raises(NotWritten, match="another desk"), locked(home, longest_s=0.05):
        pass


def test_a_file_that_leads_out_of_the_folder_is_not_read(desk: Caller, folder: Path, tmp_path: Path) -> None:
    """A link in the folder to a file elsewhere is refused: its content is neither shown nor copied."""
    secret = tmp_path / "secret.csv"
    secret.write_text("a secret", encoding="utf-8")
    (folder / "log.csv").unlink()
    (folder / "log.csv").symlink_to(secret)
    reply = desk.ask("GET", "/api/river")
    assert reply.status_code == 507
    assert "a secret" not in reply.text
    assert "leads out" in reply.get_json()["given"]
