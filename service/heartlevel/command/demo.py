"""The invented Harbour Lane practice: subjects that between them show every finding."""

from heartlevel.resources import shipped

HARBOUR_LANE = shipped("demo") / "harbour-lane.ndjson"
