"""Published figures of film arithmetic, with their sources. Nothing here is worked out by the code under test."""

from fractions import Fraction

# Encyclopaedia article "Filmfuss", citing ISO 491 (35 mm), ISO 69 (16 mm) and ISO 3023 (65 and 70 mm): frames in one
# foot; for 70 mm "five feet contain 64 frames".
FRAMES_PER_FOOT = {
    "35mm": Fraction(16),
    "16mm": Fraction(40),
    "9.5mm": Fraction(40),
    "8mm": Fraction(80),
    "super8": Fraction(72),
    "70mm": Fraction(64, 5),
}
PERFORATIONS_PER_FOOT_35MM = 64  # the same article

# Memory: no source was read for these; 65 mm follows 70 mm, its print gauge.
FRAMES_PER_FOOT_FROM_MEMORY = {
    "35mm-3perf": Fraction(64, 3),
    "35mm-2perf": Fraction(32),
    "35mm-8perf": Fraction(8),
    "28mm": Fraction(41, 2),
    "65mm": Fraction(64, 5),
}

# Encyclopaedia article "Filmschritt", citing ISO 23 and ISO 491: the height of one frame with its gap, in millimetres.
FRAME_HEIGHT_MM = {
    "35mm": Fraction(19),
    "16mm": Fraction(762, 100),
    "9.5mm": Fraction(754, 100),
    "8mm": Fraction(381, 100),
    "super8": Fraction(254, 60),  # one sixth of an inch
    "70mm": Fraction(2375, 100),
}

# Working tables of the trade (common practice), to three places: gauge, frames a second, feet a minute, and the
# running time of 1,000 ft in minutes and seconds. 35 mm at 16 and 24, 16 mm at 24: also "Filmfuss"; 1,000 ft of 35 mm
# in 16 min 40 s at 16 and 11 min 6 2/3 s at 24: also "Silent Film Speed" (1955).
FEET_PER_MINUTE_AND_TIME_OF_1000_FEET = [
    ("35mm", "16", "60", "16:40"),
    ("35mm", "18", "67.5", "14:48.889"),
    ("35mm", "20", "75", "13:20"),
    ("35mm", "24", "90", "11:06.667"),
    ("35mm", "25", "93.75", "10:40"),
    ("16mm", "16", "24", "41:40"),
    ("16mm", "18", "27", "37:02.222"),
    ("16mm", "20", "30", "33:20"),
    ("16mm", "24", "36", "27:46.667"),
    ("16mm", "25", "37.5", "26:40"),
    ("8mm", "16", "12", "83:20"),
    ("8mm", "18", "13.5", "74:04.444"),
    ("8mm", "20", "15", "66:40"),
    ("8mm", "24", "18", "55:33.333"),
    ("8mm", "25", "18.75", "53:20"),
    ("super8", "16", "13.333", "75:00"),
    ("super8", "18", "15", "66:40"),
    ("super8", "20", "16.667", "60:00"),
    ("super8", "24", "20", "50:00"),
    ("super8", "25", "20.833", "48:00"),
]

# "Filmfuss": how many feet 100 minutes of sound film (24 frames a second) take.
FEET_OF_100_MINUTES = {"35mm": 9000, "16mm": 3600, "9.5mm": 3600, "8mm": 1800, "super8": 2000}

# Projection speed recommended in 1924, in feet of 35 mm a minute, and the same in frames a second: discussion of the
# Standards and Nomenclature Committee, 1924.
RECOMMENDED_IN_1924 = [(80, Fraction(64, 3)), (75, Fraction(20)), (85, Fraction(68, 3))]

# SMPTE ST 428-21, as read in an open library's header: the name and the rate. Samples a frame at 48 kHz: by hand.
ARCHIVE_RATES = [
    ("16 (archive)", Fraction(16), 3000),
    ("18 (archive)", Fraction(200, 11), 2640),
    ("20 (archive)", Fraction(20), 2400),
    ("22 (archive)", Fraction(240, 11), 2200),
]

# Repeats of each frame by the general rule, output k shows input floor(k x from / to), written out by hand.
REPEATS = [(16, 24, (2, 1)), (18, 24, (2, 1, 1)), (20, 24, (2, 1, 1, 1, 1))]

# SMPTE ST 12-1 drop-frame at 30000/1001: the counts from the documentation of PyPI `timecode`, the labels as it and
# PyPI `opentimelineio` give them.
FRAMES_IN_A_DROP_MINUTE, FRAMES_IN_TEN_MINUTES, FRAMES_IN_AN_HOUR, FRAMES_IN_A_DAY = 1_798, 17_982, 107_892, 2_589_408
DROP_LABELS = [
    (0, "00:00:00;00"),
    (1_799, "00:00:59;29"),
    (1_800, "00:01:00;02"),
    (17_981, "00:09:59;29"),
    (17_982, "00:10:00;00"),
    (107_892, "01:00:00;00"),
    (2_589_407, "23:59:59;29"),
]

# OpenEXR's ImfKeyCode.h, citing SMPTE 254 (35 mm), 270 (65 mm), 271 (16 mm) and 268M: ranges; spacings in perforations.
EDGE_COUNT_RANGE, EDGE_OFFSET_RANGE = (0, 9999), (0, 119)
PERFORATIONS_PER_COUNT = {"35mm": 64, "16mm": 20}
PERFORATIONS_PER_FRAME = {"16mm": 1, "35mm-3perf": 3, "35mm": 4, "35mm-8perf": 8, "65mm": 5}
