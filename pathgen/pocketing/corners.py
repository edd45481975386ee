from dataclasses import dataclass
from shapely import Polygon
@dataclass
class Sharpening:
    opened: object
    @classmethod
    def nothing(cls): return cls(Polygon())
def sharpened(*a): return Sharpening.nothing()
