"""The removal pictures as PNG, read back with Pillow, which shares no code with the writer."""

from io import BytesIO

import pytest
from PIL import Image

from taping.drawings.raster import PIXELS, removal_png
from taping.rules.places import REGIONS, Side, UnknownSideError

KNEE = REGIONS["knee"]


def opened(side: Side, number: int) -> Image.Image:
    image = Image.open(BytesIO(removal_png(KNEE, side, number)))
    image.load()
    return image.convert("L")


@pytest.mark.parametrize("number", [1, 2, 3])
def test_it_is_a_whole_picture_on_white(number: int) -> None:
    image = opened(Side.LEFT, number)
    assert image.size == (PIXELS, PIXELS)
    assert image.getpixel((3, PIXELS // 2)) == 255
    assert image.getextrema() == (0, 255)


def test_left_and_right_are_mirror_images_but_for_the_words() -> None:
    left, right = (opened(side, 2) for side in (Side.LEFT, Side.RIGHT))
    turned = left.transpose(Image.Transpose.FLIP_LEFT_RIGHT)
    below = (0, 60, PIXELS, PIXELS)  # under the number in its corner
    apart = [abs(a - b) for a, b in zip(turned.crop(below).tobytes(), right.crop(below).tobytes(), strict=True)]
    assert sum(difference > 64 for difference in apart) < 0.02 * len(apart)


def test_the_word_start_is_drawn_white_on_black() -> None:
    with_word, drawn = opened(Side.LEFT, 1), opened(Side.LEFT, 2)
    assert with_word.tobytes() != drawn.tobytes()
    label = with_word.crop((200, 5, 275, 45))  # where the word stands on this picture
    assert label.getextrema() == (0, 255)


def test_three_of_them_weigh_little() -> None:
    assert sum(len(removal_png(KNEE, Side.LEFT, number)) for number in (1, 2, 3)) < 45_000


def test_a_side_that_the_region_lacks_is_refused() -> None:
    with pytest.raises(UnknownSideError):
        removal_png(KNEE, Side.MIDLINE, 1)
