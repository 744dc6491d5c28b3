from PIL import Image

from tests.browser.pictures import GAP, MARK, mark_changes, marked, put_aside


def page(*dots, size=(60, 40)):
    picture = Image.new("RGB", size, (255, 255, 255))
    for dot in dots:
        picture.putpixel(dot, (0, 0, 0))
    return picture


def test_pictures_that_are_the_same_have_no_mark():
    assert marked(page((5, 5)), page((5, 5))) is None


def test_what_differs_is_framed_in_both_side_by_side():
    both = marked(page((10, 10)), page((10, 10), (30, 20), (50, 35)))
    assert both is not None
    assert both.size == (2 * 60 + GAP, 40)
    for left in (0, 60 + GAP):
        assert {both.getpixel((left + x, y)) for x, y in ((30, 20), (50, 35), (30, 35), (50, 20))} == {MARK}
        assert both.getpixel((left + 10, 10)) == (0, 0, 0)


def test_a_page_that_has_grown_has_changed():
    assert marked(page(), page(size=(60, 41))) is not None


def test_a_run_marks_what_is_new_or_has_changed_since_the_last(tmp_path):
    for name in ("same", "other"):
        page().save(tmp_path / f"{name}.png")
    put_aside(tmp_path)
    page().save(tmp_path / "same.png")
    page((3, 3)).save(tmp_path / "other.png")
    page().save(tmp_path / "new.png")
    assert mark_changes(tmp_path) == ["new.png", "other.png"]
    assert sorted(each.name for each in (tmp_path / "changed").iterdir()) == ["new.png", "other.png"]
    put_aside(tmp_path)
    assert (list(tmp_path.glob("*.png")), list((tmp_path / "changed").iterdir())) == ([], [])
