"""The finder: dots among clutter found to hundredths of a pixel, and what it refuses."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import pytest
from skimage.measure import label, regionprops

from kerfwright.errors import Severity, UsageError
from kerfwright.errors.messages import entry_of, sentence_of
from kerfwright.registration import find_marks
from kerfwright.registration.edges import robust_circle
from registration.scenes import draw_scene

SMALL = (720, 540)


@cache
def easy(seed, **more):
    return draw_scene(seed, size=SMALL, dots=5, clutter=False, light=False, share_covered=0.0)


@cache
def hard(seed):
    return draw_scene(seed, size=SMALL, dots=6, cut_dots=2)


def found_of(scene, **more):
    return find_marks(scene.image, diameter_px=scene.diameter_px, **more)


def pairs(scene, found):
    """Index of the found mark of each dot, and the errors (K, 2); each dot found, nothing else."""
    away = np.hypot(*(found.xy[:, None] - scene.xy[None]).transpose(2, 0, 1))
    which = away.argmin(axis=0)
    assert len(found.xy) == len(scene.xy)
    assert sorted(which.tolist()) == list(range(len(scene.xy)))
    return which, found.xy[which] - scene.xy


def codes(found):
    return [f.code for f in found.findings]


@pytest.mark.parametrize("seed", range(4100, 4104))
def test_every_dot_is_found_among_clutter_and_nothing_else_is(seed):
    scene = hard(seed)
    found = found_of(scene)
    which, error = pairs(scene, found)
    size = np.hypot(*error.T)
    plain = scene.covered == 0.0
    assert size[plain].max(initial=0.0) < 0.05
    assert size[~plain].max(initial=0.0) < 0.2
    sd = np.sqrt(found.cov[which][:, [0, 1], [0, 1]])
    assert (np.abs(error) < 5.0 * sd + 0.005).all(), "the covariance must own up to the error"
    assert (found.score[which][plain] > 0.7).all()


def test_most_errors_lie_in_their_intervals():
    z = []
    for seed in range(4100, 4104):
        found = found_of(hard(seed))
        which, error = pairs(hard(seed), found)
        z.append(error / np.sqrt(found.cov[which][:, [0, 1], [0, 1]]))
    inside = np.abs(np.concatenate(z)) < 1.96
    assert inside.mean() > 0.85


def test_dots_cut_by_the_frame_are_refused_and_said():
    scene = hard(4101)
    found = found_of(scene)
    assert len(scene.cut) > 0
    for p in scene.cut:
        assert np.hypot(*(found.xy - p).T).min(initial=np.inf) > scene.diameter_px / 2.0
    said = [f for f in found.findings if f.code == "LOK-110"]
    inside = ((scene.cut >= 0) & (scene.cut <= np.array(SMALL) - 1)).all(axis=1)
    assert len(said) >= inside.sum() > 0
    assert said[0].severity is Severity.NOTE
    assert "px of room" in sentence_of(said[0])


def test_a_dot_that_shows_too_little_is_refused_and_said():
    seen = []
    for seed in range(40):
        scene = draw_scene(seed, size=(260, 260), dots=1, clutter=False, light=False,
                           share_covered=0.0, scale=11.0, blur=1.5, defocus=0.5)  # fmt: skip
        image = scene.image.copy()
        x = int(scene.xy[0, 0] - (0.30 + 0.01 * seed) * scene.radius[0])
        image[:, x:] = image[4, 4]
        found = find_marks(image, diameter_px=scene.diameter_px)
        seen += [f for f in found.findings if f.code == "LOK-111"]
        if seen:
            break
    assert seen
    assert seen[0].measured < seen[0].limit


def test_moving_the_picture_moves_the_marks():
    scene = hard(4102)
    base = found_of(scene)
    cropped = find_marks(scene.image[7:, 13:], diameter_px=scene.diameter_px)
    inner = (base.xy - (13.0, 7.0) > scene.diameter_px * 0.75).all(axis=1)
    for p in base.xy[inner] - (13.0, 7.0):
        assert np.hypot(*(cropped.xy - p).T).min() < 0.02


@pytest.mark.parametrize(
    ("turn", "back"),
    [
        (np.fliplr, lambda p: np.column_stack((SMALL[0] - 1 - p[:, 0], p[:, 1]))),
        (np.flipud, lambda p: np.column_stack((p[:, 0], SMALL[1] - 1 - p[:, 1]))),
        (np.transpose, np.fliplr),
    ],
    ids=("left-right", "up-down", "transposed"),
)
def test_mirroring_and_turning_the_picture_turns_the_marks(turn, back):
    scene = hard(4103)
    base = found_of(scene)
    other = find_marks(np.ascontiguousarray(turn(scene.image)), diameter_px=scene.diameter_px)
    again = back(other.xy)
    assert len(again) == len(base.xy)
    for p in base.xy:
        assert np.hypot(*(again - p).T).min() < 0.02


def test_grey_levels_may_be_scaled_shifted_or_deep():
    scene = easy(11)
    base = found_of(scene)
    deep = find_marks(scene.image.astype(np.uint16) * 257, diameter_px=scene.diameter_px)
    colour = find_marks(np.repeat(scene.image[:, :, None], 3, axis=2),
                        diameter_px=scene.diameter_px)  # fmt: skip
    np.testing.assert_allclose(deep.xy, base.xy, atol=0.01)
    np.testing.assert_allclose(colour.xy, base.xy, atol=1e-9)


def test_light_dots_on_dark_are_found_when_asked_for():
    scene = draw_scene(4200, size=SMALL, dots=4, clutter=False, white=True, share_covered=0.0)
    assert len(found_of(scene).xy) == 0
    for contrast in ("light", "either"):
        _, error = pairs(scene, found_of(scene, contrast=contrast))
        assert np.hypot(*error.T).max() < 0.05


@pytest.mark.parametrize("scale", [2.0, 4.0, 16.0])
def test_small_and_large_dots(scale):
    size = (int(40 * scale) + 200, int(32 * scale) + 200)
    scene = draw_scene(5, size=size, dots=3, clutter=False, light=False, share_covered=0.0,
                       scale=scale, blur=0.8, defocus=0.0)  # fmt: skip
    _, error = pairs(scene, found_of(scene))
    assert np.hypot(*error.T).max() < 0.05


@pytest.mark.reference("scikit-image regionprops, OpenCV SimpleBlobDetector on the same pictures")
@pytest.mark.parametrize("seed", [21, 22])
def test_on_clean_dots_it_agrees_with_open_libraries(seed):
    scene = easy(seed)
    found = found_of(scene)
    pairs(scene, found)
    middle = (int(scene.image.min()) + int(scene.image.max())) / 2.0
    weight = np.clip(scene.image.max() - scene.image.astype(float), 0.0, None)
    regions = [
        r for r in regionprops(label(scene.image < middle), intensity_image=weight) if r.area > 500
    ]
    by_skimage = np.array([r.centroid_weighted[::-1] for r in regions])
    params = cv2.SimpleBlobDetector_Params()
    params.filterByArea, params.maxArea, params.filterByColor = True, 1e5, True
    params.blobColor = 0
    by_opencv = np.array([k.pt for k in cv2.SimpleBlobDetector_create(params).detect(scene.image)])
    for p in found.xy:
        assert np.hypot(*(by_skimage - p).T).min() < 0.1
        assert np.hypot(*(by_opencv - p).T).min() < 0.2


@pytest.mark.reference("registration theory: Cramer-Rao bound of a disc's centre, derived")
def test_errors_on_clean_dots_are_near_the_bound():
    size, bound = [], []
    for seed in (11, 21, 22):
        scene = easy(seed)
        _, error = pairs(scene, found_of(scene))
        size.append(error)
        bound.append(scene.bound_px())
    rms = np.sqrt(np.mean(np.concatenate(size) ** 2))
    floor = np.sqrt(np.mean(np.concatenate(bound) ** 2))
    assert 0.5 * floor < rms < 3.0 * floor


@pytest.mark.reference("Gander, Golub, Strebel 1994, BIT 34, 558-578: geometric best fit, recalled")
def test_the_circle_through_points_is_the_geometric_one():
    x = np.array((1.0, 2.0, 5.0, 7.0, 9.0, 3.0))
    y = np.array((7.0, 6.0, 8.0, 7.0, 5.0, 7.0))
    start = np.array((5.0, 3.0, 4.5))
    circle = robust_circle(np.column_stack((x, y)), np.ones(6), start, 1e9, 1e9)
    np.testing.assert_allclose(circle, (4.7397824, 2.9835327, 4.7142260), atol=2e-4)


def test_the_circle_ignores_a_third_of_strays():
    rng = np.random.default_rng(3)
    phi = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    r = np.where(np.arange(90) < 30, rng.uniform(22, 38, 90), 30.0)
    xy = np.column_stack((50 + r * np.cos(phi), 40 + r * np.sin(phi)))
    circle = robust_circle(xy, np.ones(90), np.array((51.0, 41.0, 29.0)), 4.0, 0.05)
    np.testing.assert_allclose(circle, (50.0, 40.0, 30.0), atol=0.02)


@pytest.mark.parametrize(("level", "code"), [(3, "LOK-102"), (128, "LOK-103"), (250, "LOK-103")])
def test_pictures_that_show_nothing_are_said(level, code):
    rng = np.random.default_rng(1)
    flat = np.clip(level + rng.normal(0, 0.6, (200, 300)), 0, 255).astype(np.uint8)
    found = find_marks(flat, diameter_px=60.0)
    assert codes(found) == [code]
    assert len(found.xy) == 0
    assert sentence_of(found.findings[0])
    assert entry_of(code).severity is found.findings[0].severity


def test_a_picture_without_marks_is_said():
    rng = np.random.default_rng(2)
    noise = cv2.GaussianBlur(rng.uniform(0, 255, (300, 400)).astype(np.float32), (0, 0), 2.0)
    found = find_marks(noise.astype(np.uint8), diameter_px=60.0)
    assert codes(found) == ["LOK-101"]


def test_shapes_that_are_no_dots_stay_unfound():
    image = np.full((400, 900), 220, np.uint8)
    cv2.rectangle(image, (60, 60), (120, 120), 30, -1)
    cv2.circle(image, (250, 90), 31, 30, 8, cv2.LINE_AA)
    cv2.ellipse(image, (400, 90), (36, 25), 20.0, 0, 360, 30, -1, cv2.LINE_AA)
    cv2.circle(image, (550, 90), 24, 30, -1, cv2.LINE_AA)
    cv2.circle(image, (700, 90), 38, 30, -1, cv2.LINE_AA)
    cv2.putText(image, "O08@Q", (40, 330), cv2.FONT_HERSHEY_DUPLEX, 4.0, 30, 12, cv2.LINE_AA)
    cv2.circle(image, (800, 280), 30, 30, -1, cv2.LINE_AA)
    found = find_marks(image, diameter_px=60.0)
    assert len(found.xy) == 1
    np.testing.assert_allclose(found.xy[0], (800.0, 280.0), atol=0.1)


@pytest.mark.parametrize(
    ("image", "more", "words"),
    [
        (np.zeros((0, 0), np.uint8), {}, "has no room"),
        (np.zeros((100, 100)), {}, "float64"),
        (np.zeros((100, 100, 2), np.uint8), {}, "shape"),
        (np.zeros((100, 100), np.uint8), {"diameter_px": 3.0}, "least is 10"),
        (np.zeros((100, 100), np.uint8), {"diameter_px": float("nan")}, "least is 10"),
        (np.zeros((100, 100), np.uint8), {"diameter_px": 300.0}, "has no room"),
        (np.zeros((100, 100), np.uint8), {"kind": "cross"}, "known are dot"),
        (np.zeros((100, 100), np.uint8), {"contrast": "loud"}, "choose dark"),
        (np.zeros((100, 100), np.uint8), {"diameter_tolerance": 2.0}, "at most 0.3"),
        (np.broadcast_to(np.uint8(0), (20000, 10000)), {}, "200 megapixels"),
    ],
    ids=(
        "empty",
        "float",
        "two-channels",
        "tiny",
        "nan",
        "huge",
        "kind",
        "contrast",
        "tolerance",
        "200-megapixels",
    ),
)
def test_wrong_use_is_refused_in_one_sentence(image, more, words):
    with pytest.raises(UsageError, match=words):
        find_marks(image, **{"diameter_px": 40.0} | more)


@pytest.mark.parametrize(("aside", "radius"), [(0.0, 0.24), (0.45, 0.35), (0.7, 0.3)])
def test_a_bright_speck_on_a_dot_does_not_hide_it(aside, radius):
    scene = easy(4103)
    image, r = scene.image.copy(), scene.diameter_px / 2.0
    x, y = scene.xy[0] + (aside * r, 0.0)
    page = int(np.percentile(image, 90))
    cv2.circle(image, (round(x), round(y)), round(radius * r), page, -1, cv2.LINE_AA)
    found = find_marks(image, diameter_px=scene.diameter_px)
    _, error = pairs(scene, found)
    assert np.hypot(*error.T).max() < 0.1


def test_a_ring_is_no_dot():
    scene = easy(4103)
    image, r = scene.image.copy(), scene.diameter_px / 2.0
    x, y = scene.xy[0]
    cv2.circle(image, (round(x), round(y)), round(0.4 * r), int(np.percentile(image, 90)), -1)
    found = find_marks(image, diameter_px=scene.diameter_px)
    assert len(found.xy) == len(scene.xy) - 1
