"""Time law and cycle time: how long a motion takes on given drives, and why.

Acceleration-limited, per axis; jerk is not modelled. See `cycle_time` for what the bracket means.
"""

from kerfwright.motion.causes import Cause
from kerfwright.motion.cycle_time import time_motion
from kerfwright.motion.naive import naive_time_s
from kerfwright.motion.playback import SpeedProfile, speed_profile
from kerfwright.motion.ramps import rest_to_rest_s

__all__ = [
    "Cause",
    "SpeedProfile",
    "naive_time_s",
    "rest_to_rest_s",
    "speed_profile",
    "time_motion",
]
