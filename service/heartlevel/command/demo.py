"""The invented Harbour Lane practice: invented subjects, one request a line."""

from heartlevel.resources import shipped

HARBOUR_LANE = shipped("demo") / "harbour-lane.ndjson"
