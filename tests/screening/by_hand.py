"""Four days whose places that matter were found by hand, before there was any code that finds them.

The contours and slopes of each model were drawn with numpy alone and read along the line every 50
or 100 m: the slope of the cell, the steepest of the nine around, the steepest within 45 m, and the
steepest straight sight up to any cell of 30 degrees and more within 2.5 km. Then it was written
down what a leader would be told, and the twelve lines that an instructor would write. Positions are
good to 50 m (100 m on the 30 m model), angles to 2 degrees (5 degrees there).
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ANSWERS", "DAYS", "ByHand"]


@dataclass(frozen=True)
class ByHand:
    """A stretch found by hand.

    Attributes
    ----------
    kind
        What makes it matter.
    first, last
        Where it begins and ends: number of the leg and metres along it.
    deg
        Its steepest slope or, for ``overhead``, the steepest sight; None for unknown ground.
    why
        What the leader has to know of it.
    leads
        Whether it has a letter in the twelve lines.
    """

    kind: str
    first: tuple[int, float]
    last: tuple[int, float]
    deg: float | None
    why: str
    leads: bool = True


SAMPLE = (
    ByHand(
        "overhead",
        (2, 100.0),
        (5, 350.0),
        41.5,
        "Corrie floor, 24 degrees at most underfoot, below the headwall: 41.5 degrees up to it from the "
        "upper end of leg 3, towards 345, 434 m off and 384 m up. 2.2 km, all of it in sight of that.",
    ),
    ByHand(
        "underfoot", (5, 480.0), (5, 540.0), 30.0, "A short roll of 30 degrees that faces E.", leads=False
    ),
    ByHand(
        "underfoot",
        (6, 330.0),
        (6, 420.0),
        34.0,
        "A step of 34 degrees that faces S, seen at 31.",
        leads=False,
    ),
    ByHand(
        "corridor",
        (7, 0.0),
        (8, 190.0),
        59.1,
        "The rim: 17 degrees at most underfoot, 59 degrees 15 to 20 m to the left. In cloud keep right.",
    ),
    ByHand("underfoot", (8, 200.0), (10, 440.0), 52.0, "The crest: 52 degrees touched, steep on both sides."),
    ByHand(
        "corridor",
        (11, 350.0),
        (11, 560.0),
        34.7,
        "28 underfoot, 35 a few metres off the crest.",
        leads=False,
    ),
    ByHand("underfoot", (12, 30.0), (13, 220.0), 57.5, "The narrow crest, 57 degrees touched on both sides."),
    ByHand(
        "underfoot",
        (14, 80.0),
        (14, 370.0),
        32.0,
        "Down the shoulder at 32 degrees; 39 to the side.",
        leads=False,
    ),
    ByHand("corridor", (15, 0.0), (15, 350.0), 38.2, "27 underfoot, 36 to 38 to the left.", leads=False),
    ByHand(
        "underfoot",
        (16, 280.0),
        (18, 460.0),
        43.0,
        "The unbroken kilometre across and down a west face of 30 to 43 degrees; no flat ground in it.",
    ),
    ByHand("unknown", (18, 450.0), (18, 640.0), None, "200 m not known, on the steep face.", leads=False),
    ByHand(
        "overhead", (18, 700.0), (19, 200.0), 31.6, "Below that face, with unknown ground in it.", leads=False
    ),
    ByHand(
        "underfoot", (19, 260.0), (19, 340.0), 33.0, "A last step of 33 degrees that faces SW.", leads=False
    ),
)

LONG_WALL = (
    ByHand("underfoot", (1, 0.0), (1, 180.0), 38.7, "Down a bank of 33 to 39 degrees into the bed."),
    ByHand(
        "overhead",
        (2, 100.0),
        (5, 1100.0),
        35.8,
        "Three kilometres of flat bed below the wall on the left: 26 degrees and more all the way, 35.8 at "
        "300 m of leg 5 towards 217, 450 m off and 324 m up.",
    ),
)

BALD_TOP = (
    ByHand("underfoot", (2, 180.0), (2, 390.0), 43.0, "The west flank of the top: 43 degrees, 200 m."),
    ByHand("corridor", (2, 390.0), (3, 30.0), 36.7, "The top itself, with 37 degrees beside it."),
    ByHand("underfoot", (5, 180.0), (5, 330.0), 38.4, "The spur steepens to 38 degrees on its way down."),
)

NOTCH = (
    ByHand("underfoot", (1, 200.0), (1, 480.0), 37.0, "A flank of 37 degrees, crossed."),
    ByHand("underfoot", (2, 520.0), (3, 420.0), 40.1, "Straight up the shoulder at 35 to 40 degrees."),
    ByHand("corridor", (3, 500.0), (4, 70.0), 61.4, "The summit: a wall of 61 degrees to the right."),
    ByHand("underfoot", (4, 80.0), (4, 640.0), 60.0, "Down one wall and another: nobody walks this."),
    ByHand("underfoot", (5, 640.0), (5, 716.0), 45.4, "The line ends in ground of 45 degrees."),
)

DAYS: dict[str, tuple[str, tuple[ByHand, ...]]] = {
    "sample": ("", SAMPLE),
    "long wall": (
        """lat,lon,name
34.2767173,-118.2091278,Brenholt Terrace
34.2779999,-118.2162072,Brenholt Ford
34.2819924,-118.2227830,Skarnwater Bend
34.2877879,-118.2293856,Ullensey Gravel
34.2913179,-118.2370425,Mossgarth Pools
34.2975357,-118.2463695,Wardlaw Gauge
""",
        LONG_WALL,
    ),
    "bald top": (
        """lat,lon,name
34.3841375,-118.0507773,Haldane Meadow
34.3819716,-118.0404172,Cairnsey Gap
34.3824732,-118.0344410,Bald Orrey
34.3753101,-118.0283711,Orrey South Top
34.3716942,-118.0294145,Spurfold Head
34.3662657,-118.0315231,Spurfold Foot
""",
        BALD_TOP,
    ),
    "notch": (
        """lat,lon,name
34.2903645,-118.1006740,Kettlewick Bench
34.2880319,-118.1093354,Kettlewick Shoulder
34.2843808,-118.1141763,Fallow Pike East
34.2834247,-118.1201389,Fallow Pike
34.2860650,-118.1272358,Notch of Vardo
34.2887048,-118.1343331,Vardo Slabs
""",
        NOTCH,
    ),
}
"""Lines by name, as CSV (the sample's is in its own folder), and what was found on each."""

ANSWERS = {
    "sample": """
Read the avalanche forecast first. 19 legs, 13.5 km, 1200 m up; 207 m of it the model does not know.
A  Legs 2-5, corrie floor, 2.2 km. Gentle underfoot, but the headwall stands over it: 41.6 at the end of
   leg 3, towards NNW, 430 m off, 385 m high. Do not stop there. Look at it from leg 2 before going in.
B  Legs 7-8, the rim, 590 m. Flat path; 59 and a drop 11 m to the left. In cloud keep to the right.
C  Legs 8-10, the crest, 850 m. 52 underfoot, 57 to the left and 45 to the right. Nowhere to measure it from.
D  Legs 12-13, the narrow crest, 600 m. 58 underfoot on both sides, 58 below to the left.
E  Legs 16-18, the west face, 1.1 km without a break, 43 at the worst, and then 207 m unknown. No flat
   ground below it. Turn back at the bealach (end of leg 15) if the slope there is not as expected.
In a line each: leg 5 (30, 30 m), leg 6 (35, 70 m), leg 11 (35 beside), leg 14 (33), leg 15 (38 beside),
   18-19 below the face (32 and more), leg 19 (34, 85 m). Leg 1 has nothing of 30 over or beside it but far
   ground at 25. No leg is without steep ground wholly. Angle alone decides nothing; turn round in time.
""",
    "long wall": """
Read the avalanche forecast first. 5 legs, 4.2 km down the bed of a valley.
A  Leg 1, 0-180 m: down a bank of 39, 90 m high, facing west. The one steep place underfoot.
B  Legs 2-5, the whole bed, 3.5 km, flat, below the wall on the left (SW): 26 and more all along, 36 on
   leg 5 at 300 m, towards SW, 450 m off, 320 m up. Worst under leg 3's end and from 200 m of leg 5 on.
   Walk on the right bank; no stops on leg 5. Check the wall from the end of leg 1, outside it.
No leg is without: the bed lies under that wall or starts from the bank. The model's cells are 30 m and it
   was made by radar: banks and crags of the bed are not in it. Angle alone decides nothing.
""",
    "notch": """
Read the avalanche forecast first. 5 legs, 3.4 km over a pike, and down what nobody walks.
A  Leg 1, 200-480 m: across a flank of 37 that faces north.
B  Legs 2-3, the shoulder, 460 m straight up at 35 to 40, facing NE; 32 over it from leg 2.
C  Leg 3 end to leg 4: the summit with a wall of 61 ten steps to the right, facing NW.
D  Leg 4, 80-640 m: the line goes down that wall and the next, 60 and 49. Take another line.
E  Leg 5, last 80 m: 45, and the line ends in it.
No leg is without. From the pike on there is no place on the line to stand and measure.
The model's cells are 30 m and it was made by radar: the true walls are steeper. Angle alone decides nothing.
""",
}
"""What an instructor would write on the back of the map."""
