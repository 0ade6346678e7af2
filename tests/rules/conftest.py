"""Rules are loaded with what is the same each time done once."""

from rules.once import what_is_the_same_is_done_once as what_is_the_same_is_done_once
