# SPDX-License-Identifier: Apache-2.0
"""Loudness in quiet: what the standards print, and an independent implementation of them, from line spectra.

"Published": ANSI S3.4-2007, ISO 532-2:2017 (Table 5, Annex B) and ISO 532-3:2023 (Table 5, Annex C), second-hand.
"Computed": with an independent implementation of ANSI S3.4-2007 or of ISO 532-2:2017, with other code than ours.
"""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.hearing.components import components
from mixwright.hearing.constants import constants_at
from mixwright.hearing.tables import TONE_DB_SPL, TONE_SONE_ISO_532_3
from reference import ear_twin as twin
from reference.line_sounds import agrees, band, pink, tones, white

# 1 kHz from the front, both ears, in sone: dB SPL, ANSI published, computed, ISO 532-2 published, ISO 532-3 published.
TONE_1_KHZ = """
0 0.0011 0.001125 0.001 0.001
1 0.0018 0.001802 - -
2 0.0028 0.002835 - -
3 0.0044 0.00437 - -
4 0.0065 0.006537 0.008 0.004
5 0.0088 0.008971 0.01 0.006
7.5 0.017 0.01709 0.019 0.014
10 0.029 0.02913 0.031 0.025
15 0.07 0.07007 0.073 0.066
20 0.142 0.1417 0.146 0.138
25 0.255 0.2547 0.26 0.252
30 0.422 0.4222 0.43 0.422
35 0.662 0.6619 0.67 0.664
40 0.997 0.9973 1.0 1.0
45 1.461 1.461 1.46 1.46
50 2.098 2.098 2.09 2.09
55 2.97 2.97 2.96 2.95
60 4.166 4.166 4.14 4.11
65 5.813 5.813 5.77 5.71
70 8.102 8.102 8.04 7.92
75 11.326 11.33 11.2 11.0
80 15.98 15.98 15.8 15.4
85 22.929 22.93 22.7 21.7
90 33.216 33.22 32.9 31.1
95 48.242 48.24 47.7 44.7
100 70.362 70.36 69.6 64.8
105 103.274 103.3 102.0 94.3
110 152.776 152.8 151.0 138.0
115 227.855 227.9 225.0 205.0
120 341.982 342 337.6 306.0
"""


TONE_ROWS = [line.split() for line in TONE_1_KHZ.split("\n") if line]


@pytest.mark.parametrize(("column", "name"), [(1, "ANSI S3.4"), (2, "ANSI S3.4"), (3, "ISO 532-2")])
def test_tone_of_1_khz(column, name):
    missed = [
        (row[0], row[column], found)
        for row in TONE_ROWS
        if row[column] != "-"
        and not agrees(found := twin.loudness(twin.tone(1000.0, float(row[0])), name), row[column])
    ]
    # At 5 dB ANSI S3.4-2007 prints 0.0088 where its own formulas give 0.00897, in the other implementation too.
    assert [row[:2] for row in missed] == ([("5", "0.0088")] if column == 1 else [])


def test_tone_of_1_khz_in_the_running_form():
    """ISO 532-3:2023 prints what its running spectrum makes of a tone: a few bins, not one line."""
    audio = np.sqrt(2.0) * np.sin(2.0 * np.pi * 1000.0 * np.arange(9600) / 48000.0)
    power = twin.running_power(audio, 0.0)[90:110].mean(axis=0)
    c, hz, centre_hz = constants_at(twin.centres(), "ISO 532-3"), components().hz, twin.centres()
    missed = []
    for level_db, *_, printed in TONE_ROWS:
        if printed != "-":
            excited = twin.excitation(hz, power * 10.0 ** (float(level_db) / 10.0), centre_hz)
            found = 1.5 * 0.25 * twin.specific_loudness(excited, c).sum()
            # At 15 dB 1.05 %: the bins lie 31 Hz apart here, those of the standard 16 Hz.
            if not agrees(found, printed, 0.011 if level_db == "15" else 0.01):
                missed.append((level_db, printed, found))
    assert missed == []


def test_table_of_phons_is_the_published_one():
    """ISO 532-3:2023, Table 5, as the package has it."""
    published = [(float(row[0]), float(row[4])) for row in TONE_ROWS if row[4] != "-"]
    assert published == list(zip(TONE_DB_SPL, TONE_SONE_ISO_532_3, strict=True))


# Computed with ANSI S3.4-2007: Hz, sone at 20, 40, 60, 80 dB SPL free field, at 60 dB diffuse, threshold in dB.
TONES = """
50 4.232e-09 0.0004492 0.1668 1.771 0.1668 43.8
63 2.243e-07 0.009346 0.3863 2.824 0.3863 37.3
80 6.659e-06 0.03671 0.6566 3.922 0.6566 31.6
100 0.0001169 0.08805 0.9623 5.053 0.9623 26.6
125 0.001166 0.1614 1.29 6.157 1.29 22.1
160 0.007471 0.2621 1.678 7.393 1.678 17.8
200 0.01854 0.3677 2.054 8.589 2.039 14.4
250 0.03337 0.4727 2.407 9.701 2.338 11.5
315 0.05595 0.6032 2.842 11.15 2.764 8.6
400 0.08296 0.7356 3.273 12.63 3.273 6.1
500 0.1053 0.8321 3.585 13.73 3.585 4.4
630 0.1278 0.935 3.942 15.09 3.863 3.0
800 0.1417 0.9973 4.166 15.98 4.25 2.2
1000 0.1417 0.9973 4.166 15.98 4.514 2.2
1250 0.1196 0.8993 3.818 14.59 4.395 3.5
1600 0.1509 1.037 4.308 16.55 4.484 1.7
2000 0.2157 1.306 5.262 20.42 4.668 -1.3
2500 0.2954 1.62 6.379 24.87 5.624 -4.2
3150 0.3547 1.845 7.189 27.77 6.817 -6.0
4000 0.334 1.767 6.908 26.14 6.254 -5.4
5000 0.2207 1.326 5.332 19.82 5.368 -1.5
6300 0.08409 0.7326 3.223 12 3.767 6.0
8000 0.02692 0.4064 2.039 7.693 3.245 12.6
10000 0.02044 0.3582 1.855 6.641 2.907 13.9
12500 0.02855 0.4144 1.838 5.798 1.737 12.3
"""
#: Loudness at absolute threshold: that of a 1 kHz tone at 2.2 dB.
AT_THRESHOLD_SONE = 0.003096


@pytest.mark.parametrize("line", TONES.split("\n")[1:-1], ids=lambda line: line.split()[0])
def test_other_tones(line):
    """Within 1 % at and above 500 Hz.

    Below, the implementation that computed these values replaced the standard's tables by fitted polynomials: up to
    1.6 % where there is something to hear, and near threshold, where loudness goes with the 1.5th to 3rd power of what
    a tenth of a dB changes, up to 12 %. Against one that keeps the tables see the next test.
    """
    hz, *printed, threshold_db = line.split()
    sounds = [(twin.tone(float(hz), level_db), "free") for level_db in (20.0, 40.0, 60.0, 80.0)]
    sounds.append((twin.tone(float(hz), 60.0), "diffuse"))
    missed = []
    for (sound, field), value in zip(sounds, printed, strict=True):
        within = 0.01 if float(hz) >= 500.0 else 0.016 if float(value) > 0.05 else 0.12
        if not agrees(found := twin.loudness(sound, field=field), value, within):
            missed.append((value, found))
    assert missed == []
    margin_db = 0.06 if float(hz) >= 500.0 else 0.2
    lower, upper = (twin.loudness(twin.tone(float(hz), float(threshold_db) + x)) for x in (-margin_db, margin_db))
    assert lower < AT_THRESHOLD_SONE < upper


# Computed with ISO 532-2:2017, its tables kept: Hz, sone at 40, 60, 80 dB SPL.
TONES_ISO_532_2 = """
50 0.000541 0.1715 1.769
100 0.0923 0.9665 5.023
500 0.8344 3.565 13.62
2000 1.307 5.227 20.23
4000 1.764 6.857 25.87
8000 0.4117 2.034 7.626
12500 0.4192 1.829 5.741
"""


def test_other_tones_with_the_tables_kept():
    for line in TONES_ISO_532_2.split("\n")[1:-1]:
        hz, *printed = line.split()
        for level_db, value in zip((40.0, 60.0, 80.0), printed, strict=True):
            found = twin.loudness(twin.tone(float(hz), level_db), "ISO 532-2")
            assert agrees(found, value, 0.001), (hz, level_db)
    c, centre_hz = twin.grid("ISO 532-2")
    for field, both_ears, value in (
        ("free", 1.5, 4.142),
        ("diffuse", 1.5, 4.487),
        ("eardrum", 1.5, 3.479),
        ("free", 1.0, 2.761),
    ):
        sound = twin.tone(1000.0, 60.0)
        excited = twin.excitation(sound[0], twin.at_cochlea(sound, field), centre_hz)
        assert both_ears * 0.1 * twin.specific_loudness(excited, c).sum() == pytest.approx(value, rel=0.001)


@pytest.mark.parametrize(
    ("name", "hz", "level_db", "printed"),
    [
        *(
            ("ANSI S3.4", 3000.0, level, value)
            for level, value in ((20, "0.35"), (40, "1.8"), (60, "7.1"), (80, "27.5"))
        ),
        ("ANSI S3.4", 100.0, 50, "0.345"),
        *(
            ("ISO 532-2", 3000.0, level, value)
            for level, value in ((20, "0.35"), (40, "1.8"), (60, "7.0"), (80, "27.2"))
        ),
        ("ISO 532-2", 100.0, 50, "0.351"),
    ],
)
def test_published_tones(name, hz, level_db, printed):
    """Examples of ANSI S3.4-2007 and of ISO 532-2:2017, B.1; 100 Hz reads 1.1 % low, see above."""
    within = 0.016 if name == "ANSI S3.4" and hz < 500.0 else 0.01
    assert agrees(twin.loudness(twin.tone(hz, float(level_db)), name), printed, within)


@pytest.mark.parametrize(("level_db", "printed"), [(20, "0.07"), (40, "0.54"), (60, "2.31"), (80, "8.82")])
def test_one_ear_at_the_eardrum(level_db, printed):
    """ISO 532-2:2017, B.1: nothing in the other ear, so nothing inhibits."""
    assert agrees(twin.loudness(twin.tone(1000.0, float(level_db)), "ISO 532-2", "eardrum") / 1.5, printed)


# Bands of noise around 1 kHz: width in Hz, sone at 30, 40, 60, 80 dB SPL; computed with ANSI S3.4-2007.
BANDS = """
20 0.423 0.9987 4.168 15.97
50 0.4272 1.006 4.182 15.93
100 0.4424 1.036 4.249 15.93
200 0.4914 1.137 4.516 16.3
400 0.6053 1.392 5.288 17.91
600 0.7116 1.652 6.158 20.04
800 0.8104 1.911 7.079 22.49
1000 0.898 2.159 8.014 25.12
1200 0.9721 2.391 8.951 27.88
1400 1.026 2.592 9.844 30.61
1600 1.056 2.739 10.64 33.19
"""


def test_bands_of_any_width():
    found = {}
    for line in BANDS.split("\n")[1:-1]:
        width, *printed = line.split()
        step_hz = 1.0 if float(width) <= 30.0 else 10.0
        found[int(width)] = [
            twin.loudness(band(1000.0, float(width), level, step_hz)) for level in (30.0, 40.0, 60.0, 80.0)
        ]
        for value, text in zip(found[int(width)], printed, strict=True):
            assert agrees(value, text), (width, text, value)
    at_60_db = [values[2] for values in found.values()]
    assert max(at_60_db[:3]) / min(at_60_db[:3]) < 1.02
    assert np.all(np.diff(at_60_db[2:]) > 0.0)
    growth = np.divide(found[1600], found[20])
    np.testing.assert_allclose(growth, (2.50, 2.74, 2.55, 2.08), atol=0.02)
    # Computed with ISO 532-2:2017: width, sone at 40, 60, 80 dB SPL.
    for width, *values in ((100, 1.039, 4.237, 15.94), (200, 1.135, 4.482, 16.18), (400, 1.393, 5.253, 17.76),
                           (800, 1.920, 7.05, 22.35), (1600, 2.754, 10.57, 32.89)):  # fmt: skip
        own = [with_rectangular_levels(band(1000.0, width, level)) for level in (40.0, 60.0, 80.0)]
        np.testing.assert_allclose(own, values, rtol=0.003)
        own = [twin.loudness(band(1000.0, width, level), "ISO 532-2") for level in (40.0, 60.0, 80.0)]
        np.testing.assert_allclose(own, values, rtol=0.013)


def with_rectangular_levels(sound):
    """Loudness by ISO 532-2 where the level around a component is that within half a Cam: as it was computed."""
    c, centre_hz = twin.grid("ISO 532-2")
    power = twin.at_cochlea(sound)
    around_db = twin.rectangular_level_db(sound[0], power)
    return 0.15 * twin.specific_loudness(twin.excitation(sound[0], power, centre_hz, around_db), c).sum()


def third_octaves(level_db, lowest):
    """All third-octave bands to 16 kHz at one level: components 1 Hz apart below 125 Hz, else 10 Hz."""
    sounds = []
    for k in range(lowest, 43):
        centre_hz = 10.0 ** (k / 10.0)
        width_hz = centre_hz * (2.0 ** (1 / 6) - 2.0 ** (-1 / 6))
        sounds.append(
            band(centre_hz * (2.0 ** (1 / 6) + 2.0 ** (-1 / 6)) / 2.0, width_hz, level_db, 1.0 if k < 21 else 10.0)
        )
    return twin.together(*sounds)


#: Sound; published in ANSI S3.4-2007 and in ISO 532-2:2017, computed with ANSI and with ISO 532-2.
SOUNDS = {
    "white 950-1050": (lambda: white(40, 950, 1050), "4.25", "4.21", "4.249", ""),
    "white 500-1500, 40": (lambda: white(40, 500, 1500), "14.29", "14.17", "14.28", ""),
    "white 500-1500, 30": (lambda: white(30, 500, 1500), "8.02", "7.97", "8.014", ""),
    "pink 0": (lambda: pink(0), "3.62", "3.64", "3.612", ""),
    "pink 20": (lambda: pink(20), "16.00", "15.85", "15.99", ""),
    "pink 40": (lambda: pink(40), "49.28", "48.59", "49.25", ""),
    "white 0": (lambda: white(0), "", "", "4.885", ""),
    "white 10": (lambda: white(10), "", "", "10.27", ""),
    "white 20": (lambda: white(20), "", "", "19.17", ""),
    "white 30": (lambda: white(30), "", "", "33.65", ""),
    "white 40": (lambda: white(40), "", "", "57.21", ""),
    "third octaves 0": (0.0, "0.071", "0.077", "0.0713", "0.0779"),
    "third octaves 10": (10.0, "0.67", "0.69", "0.671", "0.694"),
    "third octaves 20": (20.0, "2.51", "2.54", "2.510", "2.539"),
    "third octaves 30": (30.0, "6.26", "6.25", "6.257", "6.247"),
    "third octaves 40": (40.0, "12.7", "12.6", "12.73", "12.62"),
    "third octaves 50": (50.0, "23.3", "23.1", "23.34", "23.06"),
    "three near": (lambda: tones((1500, 60), (1600, 60), (1700, 60)), "6.35", "6.31", "6.352", "6.309"),
    "three far": (lambda: tones((1000, 60), (1600, 60), (2400, 60)), "12.62", "12.49", "12.63", "12.49"),
    "harmonics": (lambda: tones(*((100 * k, 30) for k in range(1, 11))), "1.99", "2.00", "1.988", "1.993"),
    "tone in its band": (lambda: twin.together(twin.tone(1000, 60), white(40, 950, 1050)), "5.14", "5.09", "5.136", ""),
    "tone by a band": (lambda: twin.together(twin.tone(1000, 60), white(40, 1450, 1550)), "", "7.17", "7.219", ""),
}


@pytest.mark.parametrize("name", SOUNDS)
def test_sounds_of_many_components(name):
    """Third octaves: ANSI takes the 26 bands from 50 Hz, ISO the 29 from 25 Hz.

    The values computed with ANSI had a cubic spline through the ear's table, which lies up to 0.5 dB above straight
    lines near 2.5 kHz, and so does what ANSI prints for bands near threshold; ISO 532-2 asks for straight lines.
    """
    make, *printed = SOUNDS[name]
    for standard, columns, lowest in (("ANSI S3.4", printed[0::2], 17), ("ISO 532-2", printed[1::2], 14)):
        wanted = [text for text in columns if text]
        if not wanted:
            continue
        field = "free, spline" if standard == "ANSI S3.4" else "free"
        found = twin.loudness(make() if callable(make) else third_octaves(make, lowest), standard, field)
        assert [text for text in wanted if not agrees(found, text)] == [], found


def test_specific_loudness():
    """Of one ear, sone per Cam, by excitation level, at 100, 250 and 1000 Hz; computed with ANSI S3.4-2007.

    The polynomials of that implementation (see above) make up to 2.2 % at 100 and 250 Hz once there is something to
    hear, and 13 % below threshold at 250 Hz.
    """
    table = """
        -10 6.378e-09 1.295e-06 6.224e-06
        0 1.940e-06 3.016e-04 1.150e-03
        3.73 1.568e-05 1.759e-03 5.400e-03
        10 4.325e-04 0.01043 0.01633
        20 0.01227 0.04271 0.05490
        40 0.1329 0.2081 0.2318
        60 0.5103 0.6395 0.6789
        80 1.589 1.752 1.802
        100 4.669 4.620 4.623
        105 5.821 5.821 5.821
    """
    c = constants_at([100.0, 250.0, 1000.0], "ANSI S3.4")
    for line in table.strip().split("\n"):
        level_db, *printed = line.split()
        found = twin.specific_loudness(np.full(3, 10.0 ** (float(level_db) / 10.0)), c)
        near = [0.02 if float(level_db) > 10.0 else 0.04, 0.025 if float(level_db) > 10.0 else 0.13, 0.01]
        assert [row for row in zip(found, printed, near, strict=True) if not agrees(*row)] == []


# Computed by ISO 226:2023, formula (1): Hz, dB SPL at 20, 40, 60 and 80 phon.
CONTOURS = """
20 89.5 99.7 109.4 118.9
31.5 76.3 88.2 99.1 109.7
50 64.3 77.8 89.9 101.8
80 53.4 68.3 81.9 95.1
125 44.1 60.4 75.4 90.1
200 35.6 53.3 69.7 85.9
315 28.9 47.6 65.4 82.9
500 23.6 43.1 62.1 80.9
800 20.1 40.0 59.8 79.6
1250 21.4 41.8 62.1 82.5
2000 18.2 39.2 60.0 80.7
3150 14.2 35.5 56.4 77.2
5000 18.7 40.1 61.0 81.8
8000 31.4 51.6 71.5 91.3
12500 33.0 51.3 68.6 85.6
"""


#: Where the model leaves the band: it makes 50 to 125 Hz louder near threshold, and 2 to 5 kHz at any level, than the
#: contours (ISO 532-3 itself prints 68.6 phon for 3 kHz at 60 dB SPL, the contours say 64).
APART = {
    ("50", 20),
    ("80", 20),
    ("80", 40),
    ("125", 20),
    ("2000", 80),
    *((hz, p) for hz in ("3150", "5000") for p in (60, 80)),
}
#: Outside the filter bank of 50 to 15000 Hz, where its ends fall short.
OUTSIDE = {("20", 60), ("20", 80), ("12500", 60), ("12500", 80)}


def test_equal_loudness_contours():
    """A band of plausibility, no tight test: 4 dB, 6 dB where the model is known to lie apart."""
    missed = set()
    for line in CONTOURS.split("\n")[1:-1]:
        hz, *levels = line.split()
        for phon, level_db in zip((20, 40, 60, 80), levels, strict=True):
            wanted = twin.loudness(twin.tone(1000.0, phon), "ISO 532-3")
            margin_db = 6.0 if (hz, phon) in APART else 4.0
            lower, upper = (
                twin.loudness(twin.tone(float(hz), float(level_db) + x), "ISO 532-3") for x in (-margin_db, margin_db)
            )
            if not lower < wanted < upper:
                missed.add((hz, phon))
    assert missed == OUTSIDE
