"""From a Bundle or Parameters to requests, with the place of each part in what was sent."""
