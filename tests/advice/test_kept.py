"""What was weighed for earlier plans."""

from dataclasses import replace

import numpy as np
import pytest

from planner.advice import SwimStore, advise_in_full
from planner.advice import kept as kept_module
from planner.advice.kept import Book, Shelf, hash_of, page_key

KEY = page_key(hash_of("level"), hash_of("way"), "coarse")
OTHER = page_key(hash_of("level"), hash_of("way"), "3 to 9")


def _made(missing):
    return [np.arange(6.0).reshape(2, 3) + i for i in missing]


def test_only_what_is_not_known_is_made():
    """A page is made once, whatever asks for it again."""
    book, asked = Book(), []
    for keys in ([KEY], [OTHER, KEY], [KEY, OTHER]):
        found = book.take(keys, lambda missing: asked.append(list(missing)) or _made(missing))
        assert len(found) == len(keys)
    assert asked == [[0], [0]]


def test_a_book_is_read_back_to_the_last_digit(tmp_path):
    """Shapes and numbers, NaN among them, come back as they were."""
    store = SwimStore(tmp_path)
    pages = [np.array([[1.0 / 3.0, np.nan], [2.0, -0.0]]), np.array([5.0, 7.0])]
    shelf = Shelf(store)
    shelf.book(b"spot").take([KEY, OTHER], lambda missing: [pages[i] for i in missing])
    shelf.save()
    again = Shelf(store).book(b"spot").take([KEY, OTHER], lambda missing: pytest.fail("known already"))
    for page, back in zip(pages, again, strict=True):
        assert page.shape == back.shape
        assert np.array_equal(page, back, equal_nan=True)


@pytest.mark.parametrize("spoil", ["cut", "empty", "flipped", "folder"])
def test_a_spoilt_book_is_the_same_as_none(tmp_path, spoil):
    """No broken file raises or gives weights."""
    shelf = Shelf(SwimStore(tmp_path))
    shelf.book(b"spot").take([KEY, OTHER], _made)
    shelf.save()
    (path,) = (tmp_path / "weighed").glob("*.npz")
    raw = path.read_bytes()
    if spoil == "flipped":
        middle = raw.index(b"values.npy") + 140
        path.write_bytes(raw[:middle] + bytes([raw[middle] ^ 0xFF]) + raw[middle + 1 :])
    elif spoil == "folder":
        path.unlink()
        path.mkdir()
    else:
        path.write_bytes(raw[: len(raw) // 2] if spoil == "cut" else b"")
    assert Shelf(SwimStore(tmp_path)).book(b"spot").pages == {}


def test_weights_of_other_code_are_not_used(tmp_path, monkeypatch):
    """A changed advice weighs anew."""
    shelf = Shelf(SwimStore(tmp_path))
    shelf.book(b"spot").take([KEY], _made)
    shelf.save()
    monkeypatch.setattr(kept_module, "code_digest", lambda: b"another digest  ")
    assert Shelf(SwimStore(tmp_path)).book(b"spot").pages == {}


def test_a_folder_that_cannot_be_written_to_stops_nothing(tmp_path):
    """Keeping is a convenience."""
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    shelf = Shelf(SwimStore(blocked / "swims"))
    shelf.book(b"spot").take([KEY], _made)
    shelf.save()


def test_the_longest_untouched_books_go_first(tmp_path, monkeypatch):
    """Spots that were moved leave their books behind, not for ever."""
    import os

    monkeypatch.setattr(kept_module, "_MOST_FILES", 2)
    for k, name in enumerate((b"one", b"two", b"three")):
        shelf = Shelf(SwimStore(tmp_path))
        shelf.book(name).take([KEY], _made)
        shelf.save()
        if shelf._path(name).exists():
            os.utime(shelf._path(name), (1000 + k, 1000 + k))
    shelf.save()
    left = {path.stem for path in (tmp_path / "weighed").glob("*.npz")}
    assert left == {b"two".hex(), b"three".hex()}


def test_another_reading_weighs_little_anew_and_answers_as_without_memory(make, tmp_path, monkeypatch):
    """The ladder's steps come from what was kept, and every answer is the one that an empty store gives."""
    box = make.box(make.line("three", 3.0), make.line("six", 6.0))
    counted = []
    real = Book.take

    def counting(self, keys, make_pages):
        return real(self, keys, lambda missing: counted.append(len(missing)) or make_pages(missing))

    monkeypatch.setattr(Book, "take", counting)

    def asked(planned_m):
        base = make.spot(rises=(-0.2, -0.1, 0.0, 0.1, 0.2, planned_m))
        steps = [replace(level, step=100 + k, planned=False) for k, level in enumerate(base.levels[:-1])]
        levels = sorted([*steps, replace(base.levels[-1], planned=True)], key=lambda level: level.rise_m)
        return replace(base, levels=tuple(levels))

    kept = SwimStore(tmp_path / "kept")
    advise_in_full([asked(0.02)], box, make.quick, store=kept)
    first, counted[:] = sum(counted), []
    with_memory, _, _ = advise_in_full([asked(0.04)], box, make.quick, store=kept)
    second, counted[:] = sum(counted), []
    without, _, _ = advise_in_full([asked(0.04)], box, make.quick, store=SwimStore(tmp_path / "empty"))
    assert second < 0.4 * first
    assert [[a.best, a.next_best] for a in with_memory[0]] == [[a.best, a.next_best] for a in without[0]]
