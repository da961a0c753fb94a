"""The weighing of swims over a bed, against a plain reference and cases that can be worked by hand."""

import numpy as np
import pytest

from planner.advice.draws import NAMES, ROWS, deviations, draw
from planner.advice.records import BedPatch, constants
from planner.advice.weigh import CHANNELS, Ground, Tracks, weigh

KNOTS = np.array([0.0, 4.0, 10.0])
S, TC = 12, 20
STILL = np.zeros((1, len(ROWS)))


def _tracks(depth=1.0, x=10.0, seconds=12.0, fed=False, taut=0.0, L=1, sunk=0.0):
    """A swim at one depth and place."""
    count = np.zeros((L, len(CHANNELS), TC))
    retrieve = np.zeros((L, len(CHANNELS), len(KNOTS), S))
    for array in (count, retrieve):
        array[:, 0], array[:, 1], array[:, 3], array[:, 4] = depth, x, depth, x
    return Tracks(count, retrieve, np.full((L, 3), seconds), np.full((L, 3), taut), KNOTS, 0.5, fed, np.full(L, sunk))


def _ground(bed=1.3, sd=0.0, rise=0.0, lo=0.15, hi=0.6, landing=None):
    axis = np.arange(-30.0, 31.0, 1.0)
    depth = np.full((61, 61), bed) if np.isscalar(bed) else bed
    rise = np.atleast_1d(np.array(rise, dtype=float))
    deep = np.full(rise.size, 1.3) if landing is None else np.atleast_1d(landing)
    return Ground(
        BedPatch(axis, axis, depth, np.full((61, 61), sd)),
        (0.0, 1.0),
        (-1.0, 0.0),
        (10.0, 0.0),
        rise,
        np.zeros(rise.size),
        deep,
        lo,
        hi,
    )


ROWS_OF_DRAWS = deviations(draw(16, 1))


def test_a_swim_within_the_band_counts_in_full():
    """The countdown's and the retrieve's seconds both count."""
    found = weigh(_tracks(), _ground(), STILL, ROWS_OF_DRAWS, np.array([0.0, 4.0]))
    assert found.band_time_s[0] == pytest.approx([12.0, 16.0])
    assert found.touch_chance.max() == found.hang_chance.max() == 0.0
    assert np.isnan(found.lift_at_m).all()


def test_a_rise_of_the_water_lifts_the_fly_off_the_band():
    """The same swim under more water is further above the bed."""
    found = weigh(_tracks(L=2), _ground(rise=[0.0, 0.5]), STILL.repeat(2, 0), ROWS_OF_DRAWS, np.array([0.0]))
    assert found.band_time_s[:, 0] == pytest.approx([12.0, 0.0])


def test_a_tick_is_a_touch_and_a_longer_contact_a_hang():
    """Contact of up to a second is no hang."""
    for samples, hung in ((1, False), (3, True)):
        tracks = _tracks(seconds=6.0)  # samples of half a second
        tracks.retrieve[0, [0, 3], :, 2 : 2 + samples] = 1.5
        found = weigh(tracks, _ground(), STILL, ROWS_OF_DRAWS, np.array([0.0]))
        assert found.touch_chance[0, 0] == 1.0
        assert found.hang_chance[0, 0] == float(hung)


def test_a_hang_ends_the_band_time():
    """What would come after a hang is lost: here the first second and what passed before."""
    tracks = _tracks(seconds=6.0)
    tracks.retrieve[0, [0, 3], :, 4:8] = 1.5
    found = weigh(tracks, _ground(), STILL, ROWS_OF_DRAWS, np.array([0.0]))
    assert found.band_time_s[0, 0] == pytest.approx(2.0)


def test_slack_line_hangs_at_the_first_contact():
    """A brief contact while line is fed is a hang, on a tight line it is a touch."""
    for fed, hung in ((False, 0.0), (True, 1.0)):
        tracks = _tracks(fed=fed)
        tracks.count[0, [0, 3], 3] = 1.5
        found = weigh(tracks, _ground(), STILL, ROWS_OF_DRAWS, np.array([4.0]))
        assert found.hang_chance[0, 0] == hung


def test_the_rod_is_lifted_where_the_swim_is_fished_out():
    """Where the bed shelves up under the last part, the swim ends two seconds before and does not touch."""
    tracks = _tracks()
    tracks.retrieve[0, 1] = tracks.retrieve[0, 4] = np.linspace(10.0, 2.0, S)
    axis = np.arange(-30.0, 31.0, 1.0)
    # the landing is the origin of the patch and the rod 10 m upstream, so the bed is shallow below north = -5
    shelf = np.where(axis[:, None] < -4.5, 0.9, 1.3) * np.ones((61, 61))
    lifted = weigh(tracks, _ground(shelf), STILL, ROWS_OF_DRAWS, np.array([0.0]))
    low = weigh(tracks, _ground(shelf), STILL, ROWS_OF_DRAWS, np.array([0.0]), lifted=False)
    metres_a_second = 8.0 / 12.0
    assert 4.5 < lifted.lift_at_m[0, 0] - constants()["lift_takes_s"] * metres_a_second < 6.5
    assert lifted.touch_chance[0, 0] == 0.0
    assert low.touch_chance[0, 0] == low.hang_chance[0, 0] == 1.0
    assert lifted.band_time_s[0, 0] == pytest.approx(low.band_time_s[0, 0] - constants()["lift_takes_s"], abs=1.1)


def test_the_line_lies_on_a_bank_that_its_lowest_node_clears():
    """A shelf between fly and rod is touched by the line that hangs over it, and by none that floats there.

    The cut bank of the demo was told a hang of 9 % where 36 of 40 swims hung.
    """
    tracks = [_tracks(x=9.0, sunk=sunk) for sunk in (0.0, 3.0, 8.0)]
    axis = np.arange(-30.0, 31.0, 1.0)
    # the landing is the patch's origin, the rod 10 m upstream of it: shallow from 2 to 5 m from the rod
    shelf = np.where((axis[:, None] >= -8.0) & (axis[:, None] <= -5.0), 0.25, 1.3) * np.ones((61, 61))
    hung = [
        weigh(t, _ground(shelf), STILL, ROWS_OF_DRAWS, np.array([4.0]), lifted=False).hang_chance[0, 0] for t in tracks
    ]
    assert hung == [0.0, 0.0, 1.0]


def test_contact_while_the_rod_comes_up_counts():
    """What lies on the bed within the time that a lift takes is felt; band time ends with the lift."""
    tracks = _tracks()
    tracks.retrieve[0, 1] = tracks.retrieve[0, 4] = np.linspace(10.0, 2.0, S)
    tracks.retrieve[0, 0, :, 6:] = tracks.retrieve[0, 3, :, 6:] = 1.2  # below the band from here on: fished out at 6
    spread = STILL.copy()
    spread[0, ROWS.index("level")] = 0.06
    found = weigh(tracks, _ground(lo=0.15), spread, ROWS_OF_DRAWS, np.array([0.0]))
    assert found.swim_s[0, 0] == pytest.approx(6.0 - constants()["lift_takes_s"])
    tracks.retrieve[0, [0, 3], :, 4:6] = 1.29  # between the lift and where it is fished out, a centimetre off the bed
    tracks.retrieve[0, 0, :, 4:6] = 1.0
    assert weigh(tracks, _ground(), spread, ROWS_OF_DRAWS, np.array([0.0])).touch_chance[0, 0] > 0.2


def test_a_rod_does_not_lift_what_is_far_off():
    """A shoal that begins beyond a head's length must be fished over, and the fly hangs on it."""
    far = constants()["lift_farthest_m"]
    tracks = _tracks()
    tracks.retrieve[0, 1] = tracks.retrieve[0, 4] = np.linspace(far + 10.0, far + 0.5, S)
    shoal = np.where(np.arange(61)[:, None] < 33, 0.9, 1.3) * np.ones((61, 61))
    found = weigh(tracks, _ground(shoal), STILL, ROWS_OF_DRAWS, np.array([0.0]))
    assert np.isnan(found.lift_at_m[0, 0])
    assert found.hang_chance[0, 0] == 1.0


def test_shallows_do_not_count_as_the_spots_water():
    """A fly in the band over a bed less than half as deep as at the landing earns nothing."""
    found = weigh(_tracks(), _ground(landing=3.0), STILL, ROWS_OF_DRAWS, np.array([4.0]), lifted=False)
    assert found.band_time_s[0, 0] == 0.0


def test_a_certain_bed_error_shifts_the_chance_as_the_normal_law_says():
    """With one unknown the hang chance is the share of draws past the edge."""
    spread = STILL.copy()
    spread[0, ROWS.index("level")] = 0.3
    rows = deviations(draw(128, 3))
    found = weigh(_tracks(), _ground(), spread, rows, np.array([0.0]))
    level = rows[ROWS.index("level")] * 0.3
    assert found.hang_chance[0, 0] == pytest.approx(np.mean(0.3 + level < 0))
    assert found.band_time_s[0, 0] == pytest.approx(12 * np.mean((0.3 + level >= 0.15) & (0.3 + level <= 0.6)))


def _reference(tracks, ground, spread, rows, c, lifted_at):
    """Plain numpy: one level, one countdown, all draws; the bed is a plane given by its gradient."""
    k = int(np.clip(np.searchsorted(KNOTS, c, side="left") - 1, 0, 1))
    b = (c - KNOTS[k]) / (KNOTS[k + 1] - KNOTS[k])
    retrieve = (1 - b) * tracks.retrieve[0, :, k] + b * tracks.retrieve[0, :, k + 1]
    slope = (tracks.retrieve[0, :, k + 1] - tracks.retrieve[0, :, k]) / (KNOTS[k + 1] - KNOTS[k])
    samples = [(tracks.count[0, :, t], None, 0.5, tracks.fed) for t in range(round(c / 0.5))]
    dt = tracks.duration_s[0, 0] / S
    samples += [(retrieve[:, t], slope[:, t], dt, False) for t in range(lifted_at)]
    gradient, base, sd = 0.01, 1.3, float(ground.patch.sd_m[0, 0])
    wave = 2 * np.pi / (4 * constants()["bed_error_length_m"])
    place = {name: i for i, name in enumerate(ROWS)}
    d = {name: spread[0, place[name]] * rows[place[name]] for name in ROWS}
    N = rows.shape[1]
    contact, touched, hung, band = np.zeros(N), np.zeros(N, bool), np.zeros(N, bool), np.zeros(N)
    for f, steep, step, slack in samples:
        heights = []
        for low in (0, 3):
            x = f[low + 1]
            bed = base + gradient * (x - 10.0)
            height = bed + ground.rise_m[0] - f[low]
            channel = {
                name: 6 + 2 * i + (low > 0) for i, name in enumerate(("current", "sink", "drag", "lift", "boat"))
            }
            for row, name in (
                ("current", "current"), ("drag_area", "drag"), ("lift", "lift"), ("boat", "boat"),
                ("sink_slower", "sink"), ("sink_faster", "sink"),
            ):  # fmt: skip
                height = height - f[channel[name]] * d[row]
            if steep is not None:
                height = height - steep[low] * (c * d["count"] + d["count_offset"])
            height = height + gradient * x * d["cast"] + d["level"]
            height = height + sd * (
                d["bed_offset"] + d["bed_cosine"] * np.cos(x * wave) + d["bed_sine"] * np.sin(x * wave)
            )
            heights.append(height)
        on = (heights[0] < 0) | (heights[1] < 0)
        contact = np.where(on, contact + step, 0.0)
        touched |= on
        hung |= contact > (0.0 if slack else 1.0)
        band += step * (~hung & (heights[0] >= 0.15) & (heights[0] <= 0.6))
    return band.mean(), touched.mean(), hung.mean()


@pytest.mark.parametrize("seed", range(6))
def test_the_compiled_pass_agrees_with_plain_numpy(seed):
    """All unknowns at once, random tracks over a sloping bed, both countdown modes."""
    rng = np.random.default_rng(seed)
    tracks = _tracks(fed=bool(seed % 2))
    for array in (tracks.count, tracks.retrieve):
        array[:, 0] = rng.uniform(0.5, 1.25, array[:, 0].shape)
        array[:, 3] = array[:, 0] + rng.uniform(0.0, 0.15, array[:, 0].shape)
        array[:, 1] = rng.uniform(4, 14, array[:, 0].shape)
        array[:, 4] = rng.uniform(4, 14, array[:, 0].shape)
        array[:, 6:] = rng.normal(0, 0.5, array[:, 6:].shape)
    axis = np.arange(-30.0, 31.0, 1.0)
    ground = _ground(1.3 + 0.01 * axis[:, None] * np.ones((61, 61)), sd=0.1, rise=0.05)
    spread = rng.uniform(0.02, 0.12, (1, len(ROWS)))
    rows = deviations(draw(32, 4))
    for c in (0.0, 3.0, 7.0):
        found = weigh(tracks, ground, spread, rows, np.array([c]), lifted=False)
        band, touch, hang = _reference(tracks, ground, spread, rows, c, S)
        # a height within single precision of an edge may fall to either side for one draw of 32
        assert found.band_time_s[0, 0] == pytest.approx(band, abs=1.0 / 32)
        assert found.touch_chance[0, 0] == pytest.approx(touch, abs=1.01 / 32)
        assert found.hang_chance[0, 0] == pytest.approx(hang, abs=1.01 / 32)


def test_one_countdown_alone_is_weighed_as_among_others():
    """The shared countdown leaves no trace in the next one."""
    rng = np.random.default_rng(5)
    tracks = _tracks()
    tracks.count[:, [0, 3]] = rng.uniform(0.8, 1.4, (1, 1, TC))
    spread = np.full((1, len(ROWS)), 0.05)
    seconds = np.arange(0.0, 11.0)
    together = weigh(tracks, _ground(sd=0.1), spread, ROWS_OF_DRAWS, seconds)
    alone = [weigh(tracks, _ground(sd=0.1), spread, ROWS_OF_DRAWS, seconds[i : i + 1]) for i in range(11)]
    assert np.array_equal(together.band_time_s[0], [one.band_time_s[0, 0] for one in alone])
    assert np.array_equal(together.hang_chance[0], [one.hang_chance[0, 0] for one in alone])


def test_contact_in_the_countdown_never_falls_with_a_longer_count():
    """What has touched stays touched."""
    tracks = _tracks()
    tracks.count[:, [0, 3]] = np.linspace(0.2, 2.0, TC)
    spread = np.full((1, len(ROWS)), 0.05)
    found = weigh(tracks, _ground(sd=0.1), spread, ROWS_OF_DRAWS, np.arange(0.0, 11.0))
    assert (np.diff(found.touch_chance[0]) >= 0).all()
    assert (np.diff(found.hang_chance[0]) >= 0).all()
    assert found.hang_chance[0, -1] == 1.0


def test_the_depth_of_the_fly_does_not_know_the_bed():
    """Level and bed errors move the height, not the depth."""
    spread = STILL.copy()
    for name in ("level", "bed_offset", "cast"):
        spread[0, ROWS.index(name)] = 0.5
    found = weigh(_tracks(), _ground(sd=0.3), spread, ROWS_OF_DRAWS, np.array([2.0]), depths=True)
    assert found.depth_m == pytest.approx(np.ones((1, 1, 16)))
    assert found.bed_m[0, 0] == pytest.approx(1.3)
    assert len(NAMES) + 1 == len(ROWS)
