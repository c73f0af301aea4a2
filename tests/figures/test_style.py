"""The house style: contrast, looks, labels that keep apart, words that travel with the figure."""

import numpy as np
import pytest

from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.extents import text_overlaps, texts_cut
from motorlearn.figures.drawing.labels import spread
from motorlearn.figures.drawing.style import (
    INK,
    SIZES,
    SOFT_INK,
    Drawing,
    EndLabel,
    canvas,
    contrast_ratio,
    house,
    label_ends,
    looks,
)

GROUPS = ["blocked", "serial", "random", "constant", "variable", "own", "seventh"]


# W3C, WCAG 2.2, understanding 1.4.3: #777777 on white has 4.48:1 and just fails, #767676 passes.
@pytest.mark.parametrize(
    ("colour", "ratio"), [("#000000", 21.0), ("#777777", 4.48), ("#767676", 4.54), ("#ffffff", 1.0)]
)
def test_contrast_agrees_with_published_ratios(colour, ratio):
    assert contrast_ratio(colour) == pytest.approx(ratio, abs=0.005)


@pytest.mark.parametrize("look", looks(GROUPS).values(), ids=GROUPS)
def test_every_group_reaches_wcag(look):
    assert contrast_ratio(look.colour) >= 3.0
    assert contrast_ratio(look.text_colour) >= 4.5


def test_the_inks_reach_wcag():
    assert min(contrast_ratio(INK), contrast_ratio(SOFT_INK)) >= 4.5


def test_groups_differ_without_colour():
    chosen = list(looks(GROUPS).values())
    assert len({(look.marker, str(look.line)) for look in chosen}) == len(GROUPS)
    assert len({look.marker for look in chosen[:6]}) == 6


def test_a_look_depends_on_the_place_in_the_plan_alone():
    assert looks(GROUPS)["serial"] == looks(GROUPS[:3])["serial"]


def test_spread_keeps_order_and_distance():
    wanted = np.sort(np.random.default_rng(3).uniform(0, 50, 8))
    placed = spread(wanted, 10.0, 0.0, 100.0)
    assert (np.diff(placed) >= 10.0 - 1e-9).all()
    assert placed[0] >= 0 and placed[-1] <= 100


def test_spread_leaves_free_labels_alone():
    wanted = np.array([5.0, 30.0, 60.0])
    assert spread(wanted, 10.0, 0.0, 100.0) == pytest.approx(wanted)


@pytest.mark.parametrize("size", SIZES)
def test_end_labels_do_not_overlap(size):
    with house(size):
        figure, axes = canvas(size)
        axes[0].plot([0, 1], [0, 10])
        label_ends(axes[0], [EndLabel(1, 5 + 0.01 * i, f"group {i}", INK) for i in range(5)])
    assert text_overlaps(figure) == []
    assert texts_cut(figure) == []


def test_the_overlap_check_can_fail():
    with house():
        figure, axes = canvas()
        axes[0].text(0.5, 0.5, "one text")
        axes[0].text(0.5, 0.5, "another text")
        axes[0].text(3.0, 0.5, "far outside")
        figure.set_layout_engine("none")
    assert ("one text", "another text") in text_overlaps(figure)
    assert "far outside" in texts_cut(figure)


def test_a_drawing_carries_its_words_and_repeats_byte_for_byte():
    def draw():
        with house():
            figure, axes = canvas()
            axes[0].plot([1, 2], [1, 2])
        return Drawing("line", figure, "A caption.", 'A line & "more".')

    first, second = draw(), draw()
    svg = first.svg().decode("utf-8")
    assert "<desc>A line &amp; &quot;more&quot;.</desc>" in svg
    assert svg == second.svg().decode("utf-8")
    assert first.png() == second.png()
    assert first.pdf() == second.pdf() and first.pdf().startswith(b"%PDF")
    assert first.png()[:4] == b"\x89PNG"
    assert 'alt="A line &amp; &quot;more&quot;."' in first._repr_html_()


def test_an_unknown_size_is_refused():
    with pytest.raises(InputError, match="poster"), house("poster"):
        pass


def test_the_house_style_ends_with_its_block():
    import matplotlib as mpl

    before = mpl.rcParams["font.size"]
    with house("slide"):
        assert mpl.rcParams["font.size"] == 20.0
    assert mpl.rcParams["font.size"] == before
